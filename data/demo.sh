#!/bin/sh
# The whole story on an invented plant: build, start the daemon, load half a year of records,
# log its complaints, then look at one case the way the desk, QA and a manager do.
#
#   sh data/demo.sh            runs it from the start (an older demo is stopped and cleared)
#   sh data/demo.sh company    three plants that share a film supplier, on a PostgreSQL server of its own
#   sh data/demo.sh stop       stops the daemon that it leaves running, and that server
set -eu

root=$(cd "$(dirname "$0")/.." && pwd)
build=$root/build/demo
demo=$root/.demo
plant=$demo/plant
python=/usr/bin/python3
oddloaf=$build/oddloaf
pid_file=$demo/oddloafd.pid
rules=$root/rules
# shellcheck source=data/company.sh
. "$root/data/company.sh"

step() { printf '\n== %s\n' "$*"; }
shown() { printf '$ %s\n' "$*"; }
fail() {
  echo "demo: $*" >&2
  exit 1
}

# The daemon of an earlier run, if that process still is one.
running() {
  [ -f "$pid_file" ] || return 1
  pid=$(cat "$pid_file")
  [ -n "$pid" ] && [ -r "/proc/$pid/cmdline" ] &&
    tr '\0' ' ' <"/proc/$pid/cmdline" | grep -q "oddloafd.*$demo/state"
}

stop() {
  stop_daemon
  stop_server
}

stop_daemon() {
  running || return 0
  kill "$pid"
  tries=100
  while kill -0 "$pid" 2>/dev/null; do
    tries=$((tries - 1))
    [ "$tries" -gt 0 ] || fail "process $pid doesn't stop"
    sleep 0.1
  done
  rm -f "$pid_file"
}

build_it() {
  # shellcheck source=tests/packages.sh
  . "$root/tests/packages.sh"
  # shellcheck disable=SC2086 # lists of words
  packages_install $PACKAGES_BUILD $PACKAGES_DEMO
  mkdir -p "$build"
  {
    cmake -S "$root" -B "$build" -G Ninja -DODDLOAF_TESTS=OFF &&
      cmake --build "$build"
  } >"$build/build.log" 2>&1 || {
    tail -n 30 "$build/build.log" >&2
    fail "the build failed; all of it is in $build/build.log"
  }
}

# A socket's path has to be short (108 bytes with its end).
choose_socket() {
  socket=$demo/oddloafd.sock
  if [ ${#socket} -gt 100 ]; then
    socket=$(mktemp -d)/oddloafd.sock
  fi
  ODDLOAF_SOCKET=$socket
  export ODDLOAF_SOCKET
}

write_config() {
  "$python" - "$root" >"$demo/oddloafd.json" <<'PY'
import json, sys
print(json.dumps({
    "time_zone": "America/New_York",
    "plant": "Harrow Mill Bakery",
    "mail": {
        "program": sys.argv[1] + "/data/mailbox.sh",
        "from": "oddloaf@harrow-mill.example.invalid",
        "to": ["quality@harrow-mill.example.invalid"],
        "urgent_to": ["quality@harrow-mill.example.invalid",
                      "plant-manager@harrow-mill.example.invalid"],
    },
}, indent=2))
PY
}

start() {
  "$build/oddloafd" --config "$demo/oddloafd.json" --state "$demo/state" \
    --rules "$rules" --socket "$socket" >"$demo/oddloafd.log" 2>&1 &
  echo $! >"$pid_file"
  tries=100
  until "$oddloaf" rules list >/dev/null 2>&1; do
    tries=$((tries - 1))
    if [ "$tries" -le 0 ] || ! running; then
      tail -n 20 "$demo/oddloafd.log" >&2
      fail "the daemon does not answer"
    fi
    sleep 0.1
  done
}

# load KIND FILE...: one plain line a kind.
load() {
  "$oddloaf" --json load "$@" >"$demo/loaded.json" || {
    cat "$demo/loaded.json" >&2
    fail "loading $1 failed"
  }
  "$python" - "$demo/loaded.json" <<'PY'
import json, sys
rows = [json.loads(line) for line in open(sys.argv[1]) if line.strip()]
print(f"  {rows[0]['kind']:9} {sum(r['new'] for r in rows):7,} rows")
PY
}

load_records() {
  for kind in products targets lots mixes uses; do
    load $kind "$plant/$kind.csv"
  done
  load readings "$plant/readings.csv" "$plant/readings_packing.csv" "$plant/readings_core.csv"
  load plantlog "$plant/plantlog.csv"
  load dispatch "$plant"/dispatch_*.csv
}

log_history() {
  rc=0
  "$oddloaf" --json log --from "$plant/complaints.ndjson" >"$demo/logged.ndjson" || rc=$?
  [ "$rc" -le 1 ] || fail "logging the history failed"
  echo "  $(wc -l <"$demo/logged.ndjson") of $(wc -l <"$plant/complaints.ndjson") complaints logged"
}

# Waits until the rankings and mails that a load or a call brought have been worked off.
settle_down() {
  "$python" - "$oddloaf" <<'PY'
import json, subprocess, sys, time
quiet = 0
for _ in range(600):
    said = json.loads(subprocess.run([sys.argv[1], "--json", "status"], stdout=subprocess.PIPE).stdout)
    busy = sum(said["work"].values()) + said["outbox"]["waiting"]
    quiet = quiet + 1 if busy == 0 else 0
    if quiet == 3:
        break
    time.sleep(0.1)
print(f"  {said['counts']['cases_open']} cases ranked, {said['outbox']['sent']} mails sent")
PY
}

# The newest mail whose subject or text names the words given, as a person would see it.
show_mail() {
  "$python" - "$demo/mail" "$@" <<'PY'
import email, email.policy, pathlib, sys, time
folder, words = pathlib.Path(sys.argv[1]), sys.argv[2:]
for _ in range(100):
    for path in sorted(folder.glob("*.eml"), key=lambda p: p.stat().st_mtime_ns, reverse=True):
        mail = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        text = mail.get_body(("plain",)).get_content()
        if all(w in str(mail["Subject"]) + text for w in words):
            print(f"  {path}")
            for name in ("From", "To", "Subject", "Date", "Message-ID"):
                print(f"  {name}: {mail[name]}")
            print("\n" + "\n".join("  " + line for line in text.rstrip().splitlines()))
            sys.exit()
    time.sleep(0.1)
print("  no mail about " + " ".join(words))
PY
}

# A command as a person would type it, then its answer.
run() {
  printf '$ oddloaf'
  for word in "$@"; do
    case $word in
      *[!A-Za-z0-9_./:=-]*) printf " '%s'" "$word" ;;
      *) printf ' %s' "$word" ;;
    esac
  done
  printf '\n'
  "$oddloaf" "$@"
}

# first N WORD...: runs it, shows the first N lines and says how many more there are.
first() {
  lines=$1
  shift
  run "$@" >"$demo/long.txt"
  sed -n "1,${lines}p" "$demo/long.txt"
  more=$(($(wc -l <"$demo/long.txt") - lines))
  [ "$more" -le 0 ] || echo "  ... $more more lines"
}

nth_call() { sed -n "$1p" "$plant/desk.ndjson"; }
# The generator writes the id first.
id_of() { nth_call "$1" | sed 's/^{"id": "\([0-9a-f-]*\)".*/\1/'; }

desk() {
  step "Desk: a caller reads a clear code"
  run log --id "$(id_of 1)" --received-at 2026-11-22T15:20:00-05:00 --channel phone \
    --symptom mold --lot "L2 6321 B0412" --product W24 --code-date 2026-11-27 \
    --found 2026-11-22 --colour blue-green --where side --wet-inside yes --kept counter \
    --note "bought it Thursday, bag was wet inside"
  step "Desk: a store reads a smudged one"
  run log --id "$(id_of 2)" --received-at 2026-11-22T15:38:00-05:00 --channel store \
    --symptom mold --lot "L2 632O BO72?" --product H24 --code-date 2026-11-26 --store 0103 \
    --found 2026-11-22 --colour black --wet-inside yes
  step "Desk: a caller whose child was sick (from a file): a caution, and an urgent mail"
  nth_call 3 >"$demo/call.ndjson"
  run log --from "$demo/call.ndjson"
}

quality() {
  call=$(id_of 1)
  step "QA: the ranked causes of the first caller's case"
  run rank "$call"
  step "QA: what speaks for packing hot, and what against"
  first 45 why "$call" packed-hot
  step "QA: what to ask and what to test about the smudged one"
  run ask "$(id_of 2)"
  step "QA: which other lots share the condition"
  first 30 reach "$call"
  step "The mail QA got"
  show_mail "L2 6321 B0412"
  step "The urgent mail about the caller whose child was sick"
  show_mail URGENT illness
}

manager() {
  step "The manager: the week of 16 to 22 November"
  first 60 week 2026-W47
  step "Rankings beside what was planted (truth.csv, which the daemon never sees)"
  "$oddloaf" --json rank --all | "$python" "$root/data/compare.py" "$plant/truth.csv"
}

# A path as a shell takes it: quoted if it has to be.
quoted() {
  case $1 in
    *[!A-Za-z0-9/._+-]*) printf "'%s'" "$(printf %s "$1" | sed "s/'/'\\\\''/g")" ;;
    *) printf %s "$1" ;;
  esac
}

closing() {
  cat <<TEXT

The daemon is still running, as process $(cat "$pid_file"). To talk to it:
  export ODDLOAF_SOCKET=$(quoted "$socket")
  $(quoted "$oddloaf") cases
  $(quoted "$oddloaf") log            (an interview)
  $(quoted "$oddloaf") help
All mail it sent is in $demo/mail, its log in $demo/oddloafd.log.
To stop it:
  sh $(quoted "$root/data/demo.sh") stop
TEXT
}

plant_demo() {
  mkdir -p "$demo/mail" "$demo/state"
  choose_socket
  step "Making 26 weeks of Harrow Mill Bakery, an invented plant"
  "$python" "$root/data/make_plant.py" "$plant" | sed -n 1p
  step "Starting oddloafd"
  write_config
  start
  step "Loading its records"
  load_records
  step "Logging half a year of complaints; each case is ranked and mailed"
  log_history
  settle_down
  desk
  quality
  manager
}

case ${1-} in
  stop)
    stop
    echo "stopped"
    exit 0
    ;;
  "" | company) ;;
  *) fail "usage: sh data/demo.sh [company | stop]" ;;
esac

step "Building into build/demo"
build_it
began=$(date +%s)
stop
rm -rf "$demo"
"${1:-plant}_demo"
printf '\n%s seconds after the build.\n' $(($(date +%s) - began))
closing
