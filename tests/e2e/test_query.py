"""Every route of the table, against a live daemon: a parameter that its row does not name, one without
a value and one given twice are refused and named; those it names are taken.   usage: test_query.py BINARIES"""
import sys

from oddloaf import Plant
from routes import routes

PARTS = {"cases/*": "C1", "lots/*": "L1 6318 A0400", "weeks/*": "2026-W47", "spans/*": "2026-11",
         "records/*": "lots", "actions/*": "1"}
VALUES = {"limit": "5", "after": "C1", "since": "2026-11-01", "state": "all", "order": "urgent", "symptom": "mold",
          "from": "2026-11-01", "to": "2026-11-20", "days": "7", "format": "csv", "against": "2026-10", "table": "signals", "code_date": "2026-11-27",
          "cause": "packed-hot", "cases": "C1", "by": "line", "rank": "0", "first_line": "1", "part": "0", "last": "1",
          "keep_good": "0", "dry_run": "1", "load": "0199b6a0-0000-7000-8000-000000000000"}
WRONG_WORDS = {"state": "closed", "order": "oldest", "format": "xml", "table": "contacts", "symptom": "smell", "keep_good": "yes", "rank": "2"}


def path_of(pattern):
    part = next((word for start, word in PARTS.items() if pattern.startswith(start[:-1])), "1")
    return "/v1/" + pattern.replace("*", part.replace(" ", "%20"))


def refused(plant, method, path, query, name):
    body = b"{}" if method == "POST" else None
    status, problem = plant.request(method, f"{path}?{query}", body)
    assert status == 400 and problem["errors"][0]["field"] == name, (path, query, status, problem)
    return problem["errors"][0]["reason"]


def main():
    rows = routes(sys.argv[1])
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        lots = "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" \
               "L9,W24,1,2026-11-01T01:00:00Z,2026-11-01T01:00:00Z,2026-11-01T04:00:00Z,2026-11-01T05:00:00Z,500,2026-11-11\n"
        for query, name in (("dry_run=1&keep_good", "keep_good"), ("dry_rnu=1", "dry_rnu")):
            status, problem = plant.request("POST", f"/v1/records/lots?{query}", lots.encode(), "text/csv")
            assert status == 400 and problem["errors"][0]["field"] == name, (status, problem)
        assert plant.get("/v1/status")[1]["counts"]["lots"] == 120, "a refused request applied its file"

        for row in rows:
            method, names = row["method"], row["query"].split()
            path = path_of(row["path"].removeprefix("/v1/"))
            assert "no parameter" in refused(plant, method, path, "nonsense=1", "nonsense")
            for name in names:
                value = VALUES.get(name, "x")
                assert "no value" in refused(plant, method, path, f"{name}=", name)
                assert "no value" in refused(plant, method, path, name, name)
                assert "twice" in refused(plant, method, path, f"{name}={value}&{name}={value}", name)
                status, _ = plant.request(method, f"{path}?{name}={value}", b"{}" if method == "POST" else None)
                assert status < 500, (path, name, status)
                if name in WRONG_WORDS and method == "GET":
                    refused(plant, method, path, f"{name}={WRONG_WORDS[name]}", name)
        for path in ("/v1/scores", "/v1/returns", "/v1/trace"):
            days = "symptom=mold&" * path.endswith("trace") + "from=2026-11-02&to=2026-11-01"
            assert "must not lie after 'to'" in refused(plant, "GET", path, days, "from"), path
        assert plant.daemon.poll() is None, plant.log_text()
        print(len(rows), "routes ok")


main()
