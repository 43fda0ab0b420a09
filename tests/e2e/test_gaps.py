"""What the records lack: film lots that are recorded for part of the lots, a probe that stands still, one
that drifted; and which record told most.

usage: test_gaps.py BINARIES
"""
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import PRODUCTS, Plant, complaint, lot_rows  # noqa: E402


def readings(lots):
    """crumb_ph moves and then stands still; core_at_pack_c is higher in the last week."""
    rows = ["lot,core_at_pack_c,crumb_ph"]
    for n, lot in enumerate(lots):
        late = n >= len(lots) - 28
        rows.append(f"{lot},{36 + n % 5 * 0.4 + (5 if late else 0):.1f},"
                    f"{5.3 if n >= len(lots) - 20 else 5.2 + n % 7 * 0.02:.2f}")
    return "\n".join(rows) + "\n"


with Plant(sys.argv[1]) as plant:
    assert plant.client_json("gaps")["records"] == []
    text = lot_rows(days=28, start=(2026, 10, 26))[0]
    lots = [row.split(",")[0] for row in text.splitlines()[1:]]
    plant.load_text("products", PRODUCTS)
    plant.load_text("lots", text)
    plant.load_text("readings", readings(lots))
    film = lots[:67]  # of 112; one roll went into sixteen of them, and its packs leak
    plant.load_text("uses", "lot,material,material_lot\n" + "".join(
        f"{lot},film,{'P9' if n // 16 == 2 else f'P{n // 16}'}\n" for n, lot in enumerate(film)))
    plant.load_text("uses", "lot,material,material_lot\n" + "".join(
        f"{lot},closure,K{n % 16}\n" for n, lot in enumerate(film)))  # of which no more go with leaks than without
    found = ("2026-11-08", "2026-11-14", "2026-11-20", "2026-11-27")
    for n in (*range(8, 14), *range(32, 48), *range(70, 78)):
        told = complaint(lots[n], received=f"{found[n % 4 if n < 70 else 2]}T09:14:00-05:00")
        assert plant.post("/v1/complaints", told)[0] == 201
    plant.wait_idle()
    # one lot's paper came when its packs had come back
    plant.load_text("uses", f"lot,material,material_lot\n{lots[70]},flour,M9\n")
    told = plant.client_json("gaps", "--weeks", "4")
    assert (told["from"], told["to"]) == ("2026-10-26", "2026-11-22"), told
    rows = {(r["kind"], r["what"]): r for r in told["records"]}
    assert (rows["uses", "film"]["lots"], rows["uses", "film"]["with"]) == (112, 67), rows["uses", "film"]
    assert [w["with"] for w in rows["uses", "film"]["weeks"]] == [28, 28, 11, 0], rows["uses", "film"]
    assert rows["readings", "crumb_ph"]["share"] == 1
    assert [(s["quantity"], s["times"]) for s in told["still"]] == [("crumb_ph", 20)], told["still"]
    assert [d["quantity"] for d in told["drifted"]] == ["core_at_pack_c"], told["drifted"]
    tells = {(t["kind"], t["what"]): t for t in told["tells"]}
    one = tells["uses", "film"]
    assert (one["with"], one["without"]) == (22, 8), one
    assert one["gain"]["low"] < one["gain"]["bits"] < one["gain"]["high"], one
    second = tells["uses", "closure"]["gain"]["bits"]
    assert told["tells"][0] == one and one["gain"]["bits"] > max(.05, 3 * second), (one, second)
    alone = plant.client_json("gaps", "--record", "uses:film")["tells"]
    assert [(t["what"], t["gain"]) for t in alone] == [("film", one["gain"])], alone
    for nonsense in ("films", "uses:fillm"):
        assert "record" in plant.client("gaps", "--record", nonsense, check=1).stderr, nonsense
    assert "film in uses: recorded for the lots of 22 of 30 cases" in one["says"], one
    uses, = [r for r in told["late"] if r["kind"] == "uses"]
    assert [w["after_complaint"] for w in uses["weeks"]] == [0, 0, 1] and uses["line"] == "1", uses
    assert "Came late" in plant.client("gaps").stdout
    flour = tells["uses", "flour"]
    assert flour["gain"] is None and "too few cases to tell" in flour["says"], flour
    assert "What more records would tell" in plant.client("gaps").stdout
