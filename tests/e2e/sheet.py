"""A small .xlsx, written by the standard's text."""
import zipfile


def write_sheet(path, rows, sheet="Batches"):
    """A workbook as the standard's shortest example has it: numbers, dates (style 1), texts in place."""
    cells = "".join(
        f'<row r="{n}">' + "".join(
            f'<c r="{chr(65 + i)}{n}"' + (
                f'><v>{cell}</v></c>' if isinstance(cell, (int, float)) else
                f' s="1"><v>{cell[0]}</v></c>' if isinstance(cell, tuple) else
                f' t="inlineStr"><is><t>{cell}</t></is></c>')
            for i, cell in enumerate(row) if cell is not None) + "</row>" for n, row in rows)
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    main = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    parts = {
        "_rels/.rels": f'<Relationships><Relationship Id="1" Type="{office}/officeDocument" '
                       'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {main} xmlns:r="{office}"><sheets><sheet name="{sheet}" r:id="a"/>'
                           '</sheets></workbook>',
        "xl/_rels/workbook.xml.rels":
            f'<Relationships><Relationship Id="a" Type="{office}/worksheet" Target="s.xml"/>'
            f'<Relationship Id="b" Type="{office}/styles" Target="y.xml"/></Relationships>',
        "xl/y.xml":
            f'<styleSheet {main}><cellXfs><xf numFmtId="0"/><xf numFmtId="22"/></cellXfs></styleSheet>',
        "xl/s.xml": f'<worksheet {main}><sheetData>{cells}</sheetData></worksheet>'}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in parts.items():
            file.writestr(name, text)
