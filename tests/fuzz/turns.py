"""Each fuzzer in its turn, for as long as told.    usage: turns.py BUILD FOLDER SECONDS [TURN]

BUILD as in tests/fuzz/CMakeLists.txt. A turn is TURN (60) seconds of the clock, at the lowest priority. What the
fuzzers found of interest is kept under FOLDER for the next time, inputs that broke a promise in FOLDER/broken. Prints
after each round what each has had so far, in seconds of the processor and runs; ends with 1 if one was broken."""
import pathlib
import re
import resource
import subprocess
import sys
import time

CORPUS = pathlib.Path(__file__).resolve().parent / "corpus"


def cpu_of_children():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def turn(program, folder, turn_s):
    """Runs, seconds of the processor, and whether all promises were kept."""
    name = program.name[len("fuzz_"):]
    kept, broken = folder / name, folder / "broken"
    kept.mkdir(parents=True, exist_ok=True)
    broken.mkdir(exist_ok=True)
    begin = cpu_of_children()
    with open(folder / f"{name}.log", "w") as log:
        code = subprocess.run(["nice", "-n", "19", program, f"-max_total_time={turn_s}", "-timeout=300",
                               "-rss_limit_mb=1500", "-print_final_stats=1", f"-artifact_prefix={broken}/{name}-", kept,
                               CORPUS / name], stdout=log, stderr=subprocess.STDOUT).returncode
    runs = re.search(r"number_of_executed_units: (\d+)", (folder / f"{name}.log").read_text(errors="replace"))
    return int(runs.group(1)) if runs else 0, cpu_of_children() - begin, code == 0


def main():
    build, folder, seconds = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]).resolve(), float(sys.argv[3])
    turn_s = int(sys.argv[4]) if len(sys.argv) > 4 else 60
    programs = [build.resolve() / "tests" / "fuzz" / f"fuzz_{one.name}" for one in sorted(CORPUS.iterdir())]
    until, had, all_kept = time.monotonic() + seconds, {}, True
    while time.monotonic() < until:
        for program in programs:
            runs, cpu_s, kept = turn(program, folder, turn_s)
            before = had.get(program.name, (0, 0))
            had[program.name] = (before[0] + runs, before[1] + cpu_s)
            if not kept:
                all_kept = False
                print(f"{program.name}: see {folder}/broken", flush=True)
        print("\n".join(f"{name:22} {cpu_s:8.0f} s {runs:12,} runs" for name, (runs, cpu_s) in had.items()), flush=True)
    sys.exit(not all_kept)


main()
