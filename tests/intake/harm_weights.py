"""Makes rules/lexicon/weights/*.json: what words weigh in notes that speak of harm, learned from
tests/intake/harm.tsv and two lists of ordinary notes, and says how well notes are told that were left out
of the learning. With --check it says whether the files are what the lists teach instead (77: no numpy or scipy).
usage: harm_weights.py BUILD [--check]

A language of OWN has a file of its own: what "die", "Gift" and "war" weigh depends on whose words they
are, and its notes teach nothing of the others'.

Logistic regression with an L2 penalty over words, beginnings of words and pairs of words, each
counted wherever it stands, without intercept: "^ word" and "word $" stand in every note. Nothing of
the patterns of rules/lexicon/harm is learned from but the kind that a word speaks of: they were
tuned on the same list, so their verdicts on it are better than they will be on any other."""
import collections
import json
import pathlib
import subprocess
import sys
import textwrap

try:
    import numpy
    import scipy.optimize
    import scipy.sparse
except ImportError as missing:
    print(missing)
    sys.exit(77)

ROOT = pathlib.Path(__file__).resolve().parents[2]
LIST = ROOT / "tests/intake/harm.tsv"
# of mold, odor and staling: harmless but where phrases hear harm
NOTES = (ROOT / "tests/intake/notes.tsv", ROOT / "tests/intake/language/notes.tsv")
FOLDER = ROOT / "rules/lexicon/weights"
OWN = ("de",)

LEAST_NOTES = 2    # that hold a feature
PENALTY = 1.0
LEAST_WEIGHT = 0.03
FOLDS = 5
# Natural logarithms of odds where harm and none are as frequent. Words nobody knows weigh 0. Chosen
# on notes of other hands than those learned from, with the patterns as they were before those notes:
# of 861 notes of harm .96 are said and .99 said or possible, of 798 harmless ones .07 said; "said"
# lowered once more by three lists never learned from: of 246 .951 said (at 1.1 .943), of 162 .062.
LEVELS = {"said": 0.8, "possible": 0.1, "doubt": -1.4, "sure": 1.5}
# How words begin that say what is wrong with the bread. They weigh against harm, but one may be ill of mold.
FAULTS = """mold mould moho green fuzz hongo verde stale hard cut seal torn hole smell sour musty stink damp wet
    bag pack bolsa huele olia olor duro dura agri humed""".split()
OWN_FAULTS = {"de": "tute tuete packung beutel schimm verschimm grun gruen riech roch geruch muff sauer hart trocken schnitt loch riss feucht".split()}
# Of German there are few notes: what they teach says harm alone only where it weighs more, chosen on notes
# left out of the learning.
OWN_LEVELS = {"de": {"said": 1.1, "possible": 0.1, "doubt": -1.4, "sure": 1.0}}
# Words of time, place and grammar, bread, and whom one speaks of: by themselves, and in a row of nothing else, they stand in any note.
# Learned from a list where half of all notes tell of harm they would raise it ("it came after lunch").
PLAIN = frozenset("""
    bread breads loaf loaves pan panes
    # ## $ ^ a about abuela abuelo after afternoon again ago al all already also am an and ano
    anos antes any are around as at aunt be been before being between both breakfast brother but
    by came come comes coming como con cousin cuando dad daughter day days de del desde despues
    dia dias did dinner do does donde done during each el en era eran es esposa esposo esta estaba
    estan evening everything everywhere father first for friend from fue get gets getting go goes
    going got grandma ha habia had han has hasta have having hay he hemos her here hermana hermano
    hija hijo hijos his hora horas hour hours hubby husband if in into is isnt it its just kid
    kids la las last later lo los lunch mama manana marido mas mi minutes mom month months morning
    mother mum muy my neighbor neighbour night noche now nuestro o of on one only or our over papa
    para pero por que roommate same se second semana semanas si sin since sister so sobre some son
    sons soon still su supper tambien tarde than that the their then there these this those three
    till to toda today todo todos too tu two un una unas uncle unos until vecina vecino very was
    wasnt week weeks went were what when which while wife with within y ya year years yesterday
    your
    """.split())
# The same of German, in another set: "die", "war" and "hat" are other words elsewhere.
OWN_PLAIN = {"de": frozenset("""
    # ## $ ^ aber abend alle alles als also am an auch auf aus bei beim bis bitte brot brote brotchen broetchen da
    danach dann das dass davon dem den der des die doch drei ein eine einem einen einer er es etwas euch
    euer eure eurem euren eurer frau freund freundin frueh fruh gestern hab habe haben hat hatte hatten heut heute
    gruss gruessen grussen guten hallo moin morgen servus normal normale normaler normales normalen tag
    hier ich ihm ihn ihr ihre ihrem ihren ihrer im in ins ist ja jetzt kann kind kinder kunde kundin
    mal man mann mein meine meinem meinen meiner meines mich mir mit mittag montag morgen mutter nach nacht
    nachdem noch nun nur oma opa papa mama schon sehr seit seitdem sich sie sind so sohn sohns sonntag samstag freitag
    dienstag mittwoch donnerstag stunde stunden tag tage tagen tochter um und uns unser unsere unserem unseren
    unserer vater vom von vor vorgestern war waren was wegen weil wenn wer wie wieder wir wird woche wochen wurde
    wurden zu zum zur zwei
    """.split())}
KINDS = ("illness", "injury", "allergic-reaction", "foreign-matter", "tampering")


def features_of(build, lines):
    """[(label, language, kinds, features)] of lines "label<TAB>language<TAB>text"."""
    out = subprocess.run([f"{build}/tests/harm_features"], input=lines, check=True,
                         stdout=subprocess.PIPE, text=True).stdout
    for line in out.splitlines():
        label, language, kinds, *features = line.split("\t")
        yield label, language, kinds.split(), features


def ordinary():
    """The notes that the other lexicon is tested with, as lines of the list."""
    for path in NOTES:
        for line in path.read_text(encoding="utf-8").splitlines():
            text, language, *_ = line.split("\t") + [""]
            if language and not text.startswith("#"):
                yield f"harmless\t{language}\t{text}\n"


def read(build):
    """{language of OWN, "" for all others: [(harm?, kinds, features)]} of all lists, without what is neither,
    and without what a label says wrong: those words ("printed", "loaf") stand in any note, and patterns
    alone hear it."""
    notes = {name: [] for name in ("",) + OWN}
    for label, language, kinds, features in features_of(build, LIST.read_text(encoding="utf-8")):
        if label in ("harm", "harmless") and kinds != ["wrong-label"]:
            notes[language if language in OWN else ""].append((label == "harm", kinds, features))
    for _, language, kinds, features in features_of(build, "".join(ordinary())):
        if not kinds:
            notes[language if language in OWN else ""].append((False, kinds, features))
    return notes


def is_plain(feature, plain):
    if feature.endswith("*"):
        return any(word.startswith(feature[:-1]) for word in plain)
    return all(word in plain for word in feature.split())


def vocabulary(notes, plain):
    seen = collections.Counter(f for _, _, features in notes for f in set(features))
    names = sorted(f for f, n in seen.items()
                   if n >= LEAST_NOTES and f.isascii() and not is_plain(f, plain))
    return {name: i for i, name in enumerate(names)}


def matrix(notes, names):
    cells = [(row, names[f]) for row, (_, _, features) in enumerate(notes) for f in features
             if f in names]
    rows, columns = zip(*cells)
    return scipy.sparse.csr_matrix((numpy.ones(len(cells)), (rows, columns)),
                                   shape=(len(notes), len(names)))


def learn(notes, plain):
    """{feature: weight}"""
    names = vocabulary(notes, plain)
    x = matrix(notes, names)
    y = numpy.array([1.0 if harm else -1.0 for harm, _, _ in notes])

    def loss(w):
        margin = y * (x @ w)
        slope = -y / (1 + numpy.exp(margin))
        return (numpy.logaddexp(0, -margin).sum() + PENALTY / 2 * w @ w,
                x.T @ slope + PENALTY * w)

    found = scipy.optimize.minimize(loss, numpy.zeros(len(names)), jac=True, method="L-BFGS-B",
                                    options={"maxiter": 2000, "ftol": 1e-12, "gtol": 1e-5})
    return {name: found.x[i] for name, i in names.items()}


def weigh(weights, features):
    return sum(weights.get(f, 0) for f in features)


def left_out(notes, plain):
    """Of harmless and of harm: what each note weighs by what the others taught."""
    sums = {False: [], True: []}
    for fold in range(FOLDS):
        weights = learn([n for i, n in enumerate(notes) if i % FOLDS != fold], plain)
        for harm, _, features in notes[fold::FOLDS]:
            sums[harm].append(weigh(weights, features))
    return numpy.array(sums[False]), numpy.array(sums[True])


def by_kind(notes, weights):
    """What speaks of harm under the kind of the notes it stands in most, by the phrases' verdict."""
    counts = collections.defaultdict(collections.Counter)
    total = collections.Counter()
    for _, kinds, features in notes:
        total.update(kinds)
        for feature in set(features):
            counts[feature].update(kinds)
    groups = {kind: {} for kind in KINDS + ("harmless",)}
    for feature, weight in sorted(weights.items()):
        weight = round(float(weight), 2)
        if abs(weight) < LEAST_WEIGHT:
            continue
        seen = counts[feature]
        kind = max(KINDS, key=lambda k: seen[k] / max(total[k], 1) ** 0.5)
        groups[kind if weight > 0 else "harmless"][feature] = weight
    return groups


def lines_of(weights):
    """What weighs the same stands under its weight, the heaviest first."""
    groups = collections.defaultdict(list)
    for name, weight in weights.items():
        groups[f"{weight:g}"].append(name.replace(" ", "\0"))
    for weight in sorted(groups, key=lambda text: (-abs(float(text)), text)):
        lines = textwrap.wrap(", ".join(groups[weight]), 90, break_long_words=False, break_on_hyphens=False)
        yield f'"{weight}": [' + ",\n        ".join(json.dumps(line.rstrip(",").replace("\0", " ")) for line in lines) + "]"


def text_of(document):
    head = {k: v for k, v in document.items() if k != "weights"}
    kinds = [f'    "{kind}": {{\n      ' + ",\n      ".join(lines_of(weights)) + "\n    }"
             for kind, weights in document["weights"].items()]
    return json.dumps(head, indent=2)[:-2] + ',\n  "weights": {\n' + ",\n".join(kinds) + "\n  }\n}\n"


def each_weight(document):
    """(what weighs, its weight), thresholds too"""
    yield from ((f'"{level}"', document[level]) for level in LEVELS)
    for group in document["weights"].values():
        for name, value in group.items():
            if isinstance(value, list):
                yield from ((feature, float(name)) for line in value for feature in line.split(", "))
            else:
                yield name, value


def make(notes, language):
    note = ("Learned from tests/intake/harm.tsv and notes.tsv by tests/intake/harm_weights.py, which "
            "makes this file anew. A plant may change weights and thresholds: plus speaks of harm, minus against it.")
    head = {"$schema": "../../schema/harm_weights.schema.json", "note": note}
    if language:
        head["language"] = language
    return {**head, **OWN_LEVELS.get(language, LEVELS), "faults": OWN_FAULTS.get(language, FAULTS),
            "weights": by_kind(notes, learn(notes, OWN_PLAIN.get(language, PLAIN)))}


def tell_left_out(notes, language):
    levels = OWN_LEVELS.get(language, LEVELS)
    for name, sums in zip(("harmless", "harm"), left_out(notes, OWN_PLAIN.get(language, PLAIN))):
        print(f"{language or 'others'}: of {len(sums)} notes left out that are {name} weigh as said "
              f"{(sums >= levels['said']).mean():.3f}, as that or possible "
              f"{(sums >= levels['possible']).mean():.3f}, below doubt "
              f"{(sums < levels['doubt']).mean():.3f}")


def far_apart(made, kept):
    """Thresholds and weights of the two that differ by more than rounding and other libraries do."""
    a, b = dict(each_weight(made)), dict(each_weight(kept))
    return [f"{name}: {b.get(name, 0)}, the list teaches {a.get(name, 0)}"
            for name in sorted(a.keys() | b.keys())
            if abs(a.get(name, 0) - b.get(name, 0)) > LEAST_WEIGHT + 0.01]


def main():
    for language, notes in read(sys.argv[1]).items():
        path = FOLDER / f"{language or 'harm'}.json"
        made = make(notes, language)
        if "--check" in sys.argv:
            wrong = far_apart(made, json.loads(path.read_text(encoding="utf-8")))
            print("\n".join(wrong[:20]))
            if wrong:
                sys.exit(f"{path}: not what the list teaches; make it anew (DEVELOPERS.md)")
        else:
            path.write_text(text_of(made), encoding="utf-8")
            tell_left_out(notes, language)


if __name__ == "__main__":
    main()
