"""What is wrong with a page, measured in the browser that shows it (browser.py)."""

PHONE, DESK, PAPER = (390, 844), (1280, 900), (680, 960)  # paper: A4 within its margins
CONTRAST, CONTRAST_OF_SHAPES = 4.5, 3  # WCAG 2.1, 1.4.3 and 1.4.11

COLOURS = r"""
(() => {
  const parse = c => { const m = (c.match(/[\d.]+/g) || [0, 0, 0, 0]).map(Number);
                       return m.length < 4 ? [...m, 1] : m; };
  const part = v => (v /= 255) <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4;
  const light = c => .2126 * part(c[0]) + .7152 * part(c[1]) + .0722 * part(c[2]);
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
                            return (x + .05) / (y + .05); };
  const ground = e => { for (; e; e = e.parentElement) {
                          const c = parse(getComputedStyle(e).backgroundColor);
                          if (c[3] > .99) return c; }
                        return [255, 255, 255, 1]; };
  const found = [], seen = e => e.getClientRects().length > 0;
  const note = (kind, e, r) => found.push([kind, r, e.textContent.trim().slice(0, 30) ||
                                           e.getAttribute("class") || e.tagName]);
  let texts = 0, shapes = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, style = getComputedStyle(e);
    if (!walk.currentNode.data.trim() || !seen(e) || ["STYLE", "title", "desc"].includes(e.tagName))
      continue;
    texts++;
    const ink = parse(e.namespaceURI.endsWith("svg") ? style.fill : style.color);
    note("text", e, ink[3] < 1 || style.opacity < 1 ? 1 : ratio(ink, ground(e)));
  }
  for (const e of document.querySelectorAll("svg path, svg circle")) {
    if (e.matches(".grid, .band, .rail") || !seen(e)) continue;
    shapes++;
    const style = getComputedStyle(e), svg = e.closest("svg"), band = svg.querySelector(".band");
    const ink = parse(style.fill === "none" || e.matches(".center, .limit, .whisker")
                      ? style.stroke : style.fill);
    note("shape", e, ratio(ink, ground(svg)));
    if (band && e.matches(".line, .dot, .out, .center"))
      note("shape", e, ratio(ink, parse(getComputedStyle(band).fill)));
  }
  return {texts, shapes, found};
})()"""

WIDE = r"""
(() => {
  const out = [], width = %d;
  const whole = document.scrollingElement.scrollWidth;
  if (whole > width) out.push("the page is " + whole + " wide");
  for (const e of document.body.querySelectorAll("*")) {
    if (e.closest(".hidden") || !e.getClientRects().length || e.closest(".wider") && e.closest(".wider") !== e)
      continue; // what scrolls sideways on purpose, and says so
    if (e.getBoundingClientRect().right > width + 1)
      out.push(e.tagName + " reaches " + Math.round(e.getBoundingClientRect().right));
    if (e.scrollWidth > e.clientWidth + 1 && !e.matches(".wider") && /auto|scroll/.test(getComputedStyle(e).overflowX))
      out.push(e.tagName + " scrolls: " + e.textContent.slice(0, 40));
  }
  for (const e of document.querySelectorAll("th, td"))
    if (!e.getClientRects().length) out.push("left out: " + e.textContent.slice(0, 40));
  return out.slice(0, 5);
})()"""

STRUCTURE = r"""
(() => {
  const out = [], name = (svg, ids) => (ids || "").split(" ").filter(Boolean).map(
    id => (document.getElementById(id) || {textContent: ""}).textContent.trim());
  for (const svg of document.querySelectorAll("svg")) {
    if (svg.getAttribute("aria-hidden") === "true") { /* an ornament: the numbers stand beside */
      const row = svg.closest("tr");
      if (!row || ![...row.querySelectorAll("td.n")].some(c => /\d/.test(c.textContent)))
        out.push("a hidden picture without its numbers beside");
      continue;
    }
    const words = name(svg, svg.getAttribute("aria-labelledby"));
    if (svg.getAttribute("role") !== "img" || words.length < 2 || !words.every(Boolean))
      out.push("a picture without a text");
  }
  for (const head of document.querySelectorAll("th"))
    if (!head.textContent.trim()) out.push("a column without a head");
  const levels = [...document.querySelectorAll("h1, h2, h3")].map(h => +h.tagName[1]);
  if (levels.filter(l => l === 1).length !== 1 || levels.some((l, i) => i && l > levels[i - 1] + 1))
    out.push("headings out of order: " + levels);
  if (!document.documentElement.lang || !document.title.trim()) out.push("no language or title");
  if (document.scripts.length) out.push("a script");
  return out;
})()"""


# Letters of a picture that stand on each other.
OVERLAPS = """[...document.querySelectorAll('svg')].flatMap(svg => {
  const texts = [...svg.querySelectorAll('text')].map(t => [t, t.getBoundingClientRect()])
  return texts.flatMap(([a, r], i) => texts.slice(i + 1).filter(([, s]) =>
    Math.min(r.right, s.right) - Math.max(r.left, s.left) > 1 &&
    Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > 4)
    .map(([b]) => a.textContent + ' on ' + b.textContent))
})"""

# Cells of words so narrow that their text runs down the page a word a line.
ONE_WORD_COLUMNS = """[...document.querySelectorAll('td:not(.n)')].filter(cell => {
  const words = cell.innerText.split(/\\s+/).length
  const lines = cell.clientHeight / parseFloat(getComputedStyle(cell).lineHeight)
  return cell.clientWidth < 80 && words > 4 && lines > 4 && words / lines < 1.7
}).map(cell => cell.innerText)"""


def problems(page, width):
    """Everything wrong with the page shown, as (kind, what)."""
    wrong = [("console", m) for m in page.messages()]
    wrong += [("request", a) for a in page.requests()]
    wrong += [("wide", w) for w in page.value(WIDE % width)]
    wrong += [("structure", s) for s in page.value(STRUCTURE)]
    wrong += [("column", c) for c in page.value(ONE_WORD_COLUMNS)]
    wrong += [("overlap", o) for o in page.value(OVERLAPS)]
    colours = page.value(COLOURS)
    least = {"text": CONTRAST, "shape": CONTRAST_OF_SHAPES}
    wrong += [("contrast", f"{kind} '{what}': {ratio:.2f}")
              for kind, ratio, what in colours["found"] if ratio < least[kind]]
    names = page.image_names()
    if not all(names) or len(names) != page.value("document.querySelectorAll('svg[role]').length"):
        wrong.append(("structure", f"pictures as read out: {names}"))
    return wrong
