"""Facts of a case as numbers for a classifier: the daemon's GET /v1/cases/ID/facts, flattened."""
import json
import math

SKIP = {"store", "product", "shift", "line"}        # names of one plant mean nothing to another


def name_of(fact):
    return fact["fact"] + (json.dumps(fact["change"], sort_keys=True) if "change" in fact else "")


def flatten(answer):
    """{feature: number}; several complaints: mean, count of those that know it, share of each word."""
    out = {"complaints": math.log2(1 + len(answer["complaints"]))}
    for fact in answer["facts"]:
        name = name_of(fact)
        if fact["fact"] in SKIP:
            continue
        if "values" in fact:
            told(out, name, fact)
            continue
        value = fact["value"]
        if isinstance(value, str):
            out[f"{name}={value}"] = 1.0
            continue
        number(out, name, value, fact)
    return out


def number(out, name, value, fact):
    if isinstance(value, (int, float)):
        out[name] = float(value)
        for key in ("target", "usual"):
            if fact.get(key) not in (None, 0):
                out[f"{name}/{key}"] = value / fact[key]
    if "z" in fact:
        out[f"{name}:z"] = max(-20.0, min(20.0, fact["z"]))
    if isinstance(fact.get("bits"), (int, float)):
        out[f"{name}:bits"] = fact["bits"]


def told(out, name, fact):
    known = [v for v in fact["values"] if v is not None]
    if not known:
        return
    if isinstance(known[0], (str, list)):
        for v in known:
            for word in v if isinstance(v, list) else [v]:
                out[f"{name}={word}"] = out.get(f"{name}={word}", 0.0) + 1 / len(known)
        out[f"{name}=?"] = 0.0
    elif isinstance(known[0], bool):
        out[name] = sum(known) / len(known)
    else:
        out[name] = sum(known) / len(known)
    bits = [b for b in fact.get("bits", []) if isinstance(b, (int, float))] if isinstance(fact.get("bits"), list) else []
    if bits:
        out[f"{name}:bits"] = sum(bits) / len(bits)
