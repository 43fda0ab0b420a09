# The story of a company of three plants on one PostgreSQL server: sourced by demo.sh, which has build_it, run and so on.
# Everybody asks as head office here, who sees all; who of a company sees what: oddloafd(8), PLANTS.
company=$demo/company
server=${TMPDIR:-/tmp}/oddloaf-company-$(id -u) # PostgreSQL refuses root: another user has to come there

stop_server() {
  [ ! -f "$server/data/postmaster.pid" ] || "$python" "$root/tests/store/postgresql.py" stop "$server"
}

company_config() {
  "$python" - "$root" "$server" >"$demo/oddloafd.json" <<'PY'
import json, sys
def plant(name):
    return {"title": f"Tarnbrook Bakeries, {name.capitalize()}",
            "mail": {"to": [f"quality.{name}@tarnbrook.example.invalid"]}}
print(json.dumps({
    "time_zone": "America/New_York",
    "plant": "Tarnbrook Bakeries",
    "store": f"postgresql:///company?host={sys.argv[2]}&user=oddloaf",
    "mail": {
        "program": sys.argv[1] + "/data/mailbox.sh",
        "from": "oddloaf@tarnbrook.example.invalid",
        "to": ["quality@tarnbrook.example.invalid"],
    },
    "plants": {name: plant(name) for name in ("alder", "quay", "mill")},
}, indent=2))
PY
}

# The newest complaint at a plant that came of that trouble.
newest_of() {
  grep ",$1,.*,$2$" "$company/truth.csv" | tail -n 1 | cut -d , -f 1
}

company_story() {
  step "Head office: the week of 9 to 15 November, plant beside plant"
  first 40 week 2026-W46 --by plant
  step "Alder alone: what its manager reads"
  first 16 week 2026-W46 --plant alder
  step "What do the moldy lots of three plants share?"
  first 24 trace --symptom mold --from 2026-10-20 --to 2026-11-22
  step "Alder: the likely causes of one of its lots in that film; most of what is known of it came in at Quay"
  run rank "$(newest_of alder dirty)"
  step "Mill: line 1 packed hot for four days; line 1 of the others is another line"
  run rank "$(newest_of mill hot)"
}

company_demo() {
  packages_install postgresql
  mkdir -p "$demo/mail" "$demo/state"
  choose_socket
  step "Making ten weeks of Tarnbrook Bakeries, three invented plants"
  "$python" "$root/data/make_company.py" "$company"
  step "Starting a PostgreSQL server of its own and oddloafd on it"
  "$python" "$root/tests/store/postgresql.py" start "$server"
  psql -qX -d "postgresql:///postgres?host=$server&user=oddloaf" -c "CREATE DATABASE company"
  company_config
  rules=$company/rules:$root/rules
  start
  step "Loading the records of three plants"
  for kind in products lots uses readings plantlog dispatch; do
    load $kind "$company/$kind.csv"
  done
  step "Logging their complaints"
  plant=$company
  log_history
  settle_down
  company_story
}
