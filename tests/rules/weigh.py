"""The arithmetic of a ranking, over the rule files alone: what a set of known facts would say.

Facts are given by name: {"word": …} (or a list of words), {"value": …, "ratio": …, "z": …}, or
{"bits": …} for company and model facts. What is not given is not known."""
import json
import os
import pathlib

RULES = pathlib.Path(__file__).resolve().parents[2] / "rules"
TEMPER = json.loads((RULES / "ranking.json").read_text())["temper"]


def load_causes(rules):
    folder = os.path.join(rules, "causes")
    causes = {}
    for name in sorted(os.listdir(folder)):
        if name.endswith(".json"):
            with open(os.path.join(folder, name), encoding="utf-8") as f:
                causes[name[:-5]] = json.load(f)
    return causes


def on_curve(curve, x):
    if x <= curve[0][0]:
        return curve[0][1]
    for (x0, y0), (x1, y1) in zip(curve, curve[1:]):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return curve[-1][1]


def passes(guard, facts):
    """True, False, or None where the guard's fact is not known."""
    fact = facts.get(guard["fact"])
    if fact is None:
        return None
    if "in" in guard:
        return any(w in guard["in"] for w in words_of(fact))
    value = fact.get("value", float("nan"))
    return guard.get("from", float("-inf")) <= value <= guard.get("to", float("inf"))


def words_of(fact):
    word = fact.get("word", [])
    return word if isinstance(word, list) else [word]


def said(item, facts):
    fact = facts.get(item["fact"])
    if fact is None:
        return None
    if "when" in item and passes(item["when"], facts) is not True:
        return None
    if "unless" in item and passes(item["unless"], facts) is True:
        return None
    if "table" in item:
        bits = [item["table"].get(w, item["table"].get("*", 0)) for w in words_of(fact)]
        return max(bits, key=abs) if bits else None
    if "curve" in item:
        return on_curve(item["curve"], fact[item["as"]]) if item["as"] in fact else None
    if "bits" not in fact:
        return None
    low, high = item.get("limit", [-6, 6])
    return min(max(fact["bits"] * item.get("scale", 1), low), high)


def weigh(cause, facts, symptom):
    """Bits for one cause: of a group only the strongest counts."""
    total, groups = 0.0, {}
    for item in cause["evidence"]:
        bits = said(item, facts) if symptom in item.get("symptoms", [symptom]) else None
        if bits is None:
            continue
        group = item.get("group")
        if group is None:
            total += bits
        elif abs(bits) > abs(groups.get(group, 0)):
            groups[group] = bits
    return total + sum(groups.values())


def rank(causes, facts, symptom):
    """[(probability, cause)], likeliest first."""
    odds = {name: c["symptoms"][symptom] * 2 ** (TEMPER * weigh(c, facts, symptom))
            for name, c in causes.items() if symptom in c["symptoms"]}
    total = sum(odds.values())
    return sorted(((w / total, name) for name, w in odds.items()), reverse=True)
