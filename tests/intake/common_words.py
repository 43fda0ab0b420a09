"""Makes rules/lexicon/common/*.json: the words of a language that the lexicon could take for a
misspelling of one of its own. Run it after adding words to rules/lexicon; the test
intake/test_common_words names what is missing.

usage: common_words.py LANGUAGE WORDLIST... ; a WORDLIST is one word a line, or a hunspell NAME.dic
with its NAME.aff beside it (all forms of its words are taken)
e.g.   common_words.py en /usr/share/dict/american-english /usr/share/hunspell/en_US.dic
       common_words.py de /usr/share/dict/ngerman (Debian's wngerman, which no test needs)
       common_words.py es /usr/share/dict/spanish /usr/share/hunspell/es_ES.dic"""
import json
import pathlib
import re
import sys
import textwrap
import unicodedata

RULES = pathlib.Path(__file__).resolve().parents[2] / "rules"
SMALL = ("negation negated_by stops joins subjects carriers filler plain supposed corrects "
         "contests asks wonders agrees").split()


def fold(text):
    parts = unicodedata.normalize("NFD", text.lower())
    return "".join(c for c in parts if not unicodedata.combining(c)).replace("'", "")


def distance(a, b, most):
    """Optimal string alignment, as daemon/intake/lexicon_text.c; more than `most` is any number."""
    if abs(len(a) - len(b)) > most:
        return most + 1
    above2, above = None, list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        row = [i]
        for j, y in enumerate(b, 1):
            best = min(above[j - 1] + (x != y), above[j] + 1, row[-1] + 1)
            if above2 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                best = min(best, above2[j - 2] + 1)
            row.append(best)
        if min(row) > most:
            return most + 1
        above2, above = above, row
    return above[-1]


def phrases_of(document):
    for words in document.get("sets", {}).values():
        yield from words
    yield from document.get("ignore", [])
    for field in document["fields"]:
        for phrases in field["words"].values():
            yield from phrases


def harm_words(document):
    """Those of a file of harm: word, word*, word~."""
    lists = [document.get(name, []) for name in ("marks", "filler", "possible")]
    for group in ("sets", "context", "said"):
        lists += document.get(group, {}).values()
    for patterns in lists:
        for pattern in patterns:
            for word in fold(pattern).replace("|", " ").split():
                if word[0] not in "@_^$/":
                    yield word


def of_harm(path):
    words = set(harm_words(json.loads(path.read_text())))
    return ({word.rstrip("~") for word in words if "*" not in word},
            {word[:-1] for word in words if word.endswith("~")})


def readers(language):
    """Of each reader (the lexicon's files together, every file of harm by itself; of a language that has a
    file of harm alone that one): all its words, and those that it understands misspelled."""
    if not (RULES / "lexicon" / f"{language}.json").exists():
        yield of_harm(RULES / "lexicon" / "harm" / f"{language}.json")
        return
    known, long = set(), set()
    for path in (RULES / "lexicon").glob("*.json"):
        document = json.loads(path.read_text())
        known |= {fold(word) for name in SMALL for word in document.get(name, [])}
        for phrase in phrases_of(document):
            for word in fold(phrase).split():
                if word[0] not in "#@" and not word.endswith("*"):
                    known.add(word)
                    if len(word) >= 5:
                        long.add(word)
    yield known, long
    for path in (RULES / "lexicon" / "harm").glob("*.json"):
        yield of_harm(path)


def suffixes(path):
    """flag → [(what is taken off, what is put on, what the word must end like)]"""
    rules = {}
    for line in path.read_text(encoding="latin-1", errors="replace").splitlines():
        parts = line.split()
        if len(parts) >= 5 and parts[0] == "SFX" and not parts[3].isdigit():
            off, on, end = parts[2], parts[3].split("/")[0], parts[4]
            rules.setdefault(parts[1], []).append(
                ("" if off == "0" else off, "" if on == "0" else on, re.compile(end + "$")))
    return rules


def forms(path):
    encoding = "utf-8" if "UTF-8" in path.with_suffix(".aff").read_text("latin-1")[:400] else "latin-1"
    rules = suffixes(path.with_suffix(".aff"))
    for line in path.read_text(encoding=encoding, errors="replace").splitlines()[1:]:
        word, _, flags = line.split("\t")[0].strip().partition("/")
        yield word
        for flag in flags:
            for off, on, end in rules.get(flag, []):
                if end.search(word) and word.endswith(off):
                    yield word[:len(word) - len(off)] + on


def words_of(path):
    path = pathlib.Path(path)
    words = forms(path) if path.suffix == ".dic" else path.read_text(encoding="utf-8").splitlines()
    for word in map(fold, words):
        if re.fullmatch("[a-z]{4,31}", word):
            yield word


def letters_of(word):
    mask = 0
    for c in word:
        mask |= 1 << ord(c) - 48
    return mask


class Near:
    """Which words could be slips of one of `long`, as daemon/intake/lexicon_text.c has it."""

    def __init__(self, long):
        self.by_letter = {}
        for word in long:
            most = 2 if len(word) >= 8 else 1
            self.by_letter.setdefault(word[0], []).append((word, letters_of(word), most))

    def __call__(self, word):
        mask, length = letters_of(word), len(word)
        return any(abs(len(other) - length) <= most and (mask ^ others).bit_count() <= 2 * most
                   and distance(other, word, most) <= most
                   for other, others, most in self.by_letter.get(word[0], []))


def main():
    language, lists = sys.argv[1], sys.argv[2:]
    found = list(readers(language))
    words = {word for path in lists for word in words_of(path)}
    words |= {word for known, _ in found for word in known if re.fullmatch("[a-z]{4,31}", word)}
    near = set()
    for known, long in found:
        near |= set(filter(Near(long), words - known))
    near = sorted(near)
    document = {
        "$schema": "../../schema/common_words.schema.json", "language": language,
        "note": "Words that are no misspelling of another; made by tests/intake/common_words.py.",
        "words": textwrap.wrap(" ".join(near), 100)}
    path = RULES / "lexicon" / "common" / (language + ".json")
    path.write_text(json.dumps(document, indent=2, ensure_ascii=False) + "\n")
    print(path, len(near), "words")


if __name__ == "__main__":
    main()
