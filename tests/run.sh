#!/bin/sh
# Installs what is missing, builds and runs the tests. Without a word: first, asan, tsan, lint, as CI does, by which each
# test but the slow ones is run once. Steps by name:
#   first  warnings as errors; what neither asan nor tsan runs (labelled `once` or `long`)
#   plain  warnings as errors; all tests but those labelled `slow`
#   asan   AddressSanitizer and UndefinedBehaviorSanitizer; all but those labelled `once`, `long` or `threads`
#   sanitized  those labelled `long` or `threads` under the same
#   slow   long references (R, SciPy), simulated plants, every value of the rule files
#   tsan   ThreadSanitizer: the threads' tests and the daemon under load
#   lint   formatting and clang-tidy without its analyzer, which the step builds has
#   builds as others build it: gcc with NDEBUG and link-time optimization, clang, no libsystemd, no libpq; clang-tidy, deeper
# Fuzzing and benchmarks have commands of their own (DEVELOPERS.md).
#
#     sh tests/run.sh [first plain asan sanitized slow tsan lint builds]
set -eu
cd "$(dirname "$0")/.."
. tests/packages.sh
steps=${*:-first asan tsan lint}
jobs=$(nproc)
beside=$((jobs * 3)) # tests of whole systems wait two thirds of their time
linker=
if command -v ld.gold >/dev/null; then
  linker=-DCMAKE_EXE_LINKER_FLAGS=-fuse-ld=gold # a quarter of the time, for two hundred programs
fi
export CTEST_OUTPUT_ON_FAILURE=1
export PATH="/usr/bin:$PATH" # Debian's python3, which has the test packages

say() { printf '\n== %s\n' "$*"; }

build() { # folder, target, cmake options…
  folder=$1
  target=$2
  shift 2
  cmake -S . -B "build/$folder" -G Ninja -DODDLOAF_WERROR=ON "$@" >"build/$folder.log" 2>&1 ||
    { cat "build/$folder.log"; exit 1; }
  ninja -C "build/$folder" -j "$jobs" "$target" >>"build/$folder.log" 2>&1 ||
    { tail -n 60 "build/$folder.log"; exit 1; }
}

step_first() {
  say "plain build, the tests that no sanitizer's step has"
  build plain first $linker
  ctest --no-tests=error --test-dir build/plain -j "$beside" --timeout 900 -L "once|long" -LE "slow|threads"
}

step_plain() {
  say "plain build, all tests"
  build plain all $linker
  ctest --no-tests=error --test-dir build/plain -j "$beside" --timeout 900 -LE slow
}

step_asan() {
  say "address and undefined-behaviour sanitizers"
  build asan all $linker -DODDLOAF_BENCHES=OFF -DODDLOAF_SANITIZE=address,undefined
  ctest --no-tests=error --test-dir build/asan -j "$beside" --timeout 900 -LE "slow|once|long|threads"
}

step_sanitized() {
  say "address and undefined-behaviour sanitizers, the tests that CI leaves out"
  build asan all $linker -DODDLOAF_BENCHES=OFF -DODDLOAF_SANITIZE=address,undefined
  ctest --no-tests=error --test-dir build/asan -j "$beside" --timeout 1800 -L "long|threads" -LE once
}

step_slow() {
  say "long references and simulated plants"
  build plain all
  ctest --no-tests=error --test-dir build/plain -j "$beside" --timeout 1800 -L slow
}

step_tsan() {
  say "thread sanitizer"
  build tsan threads $linker -DODDLOAF_BENCHES=OFF -DODDLOAF_SANITIZE=thread
  TSAN_OPTIONS="suppressions=$PWD/tests/tsan.txt" ctest --no-tests=error --test-dir build/tsan -j "$beside" --timeout 900 -L threads
}

# Nothing may hang on an assertion: what it asks is asked, and the tests hold, without them.
step_builds() {
  say "gcc, NDEBUG, link-time optimization; its unit tests"
  build gcc all -DCMAKE_C_COMPILER=gcc -DCMAKE_BUILD_TYPE=Release -DCMAKE_C_FLAGS_RELEASE="-O2 -DNDEBUG" \
    -DCMAKE_INTERPROCEDURAL_OPTIMIZATION=ON -DODDLOAF_BENCHES=OFF
  ctest --no-tests=error --test-dir build/gcc -j "$beside" --timeout 900 -LE slow -R '/test_'
  say "clang-tidy at its own depth"
  tidy
  say "clang, NDEBUG, link-time optimization; benchmarks, no tests"
  build clang all -DCMAKE_C_COMPILER=clang -DCMAKE_BUILD_TYPE=Release -DCMAKE_C_FLAGS_RELEASE="-O2 -DNDEBUG" \
    -DCMAKE_INTERPROCEDURAL_OPTIMIZATION=ON -DODDLOAF_TESTS=OFF -DODDLOAF_BENCHES=ON
  say "without libsystemd and libpq; the smallest there is"
  build bare all -DODDLOAF_SYSTEMD=OFF -DODDLOAF_POSTGRES=OFF -DCMAKE_BUILD_TYPE=MinSizeRel -DODDLOAF_TESTS=OFF
}

tidy() { # options…; a file a run: version 14 carries its va_list checker's state into the next
  [ -f build/plain/compile_commands.json ] || build plain all
  git ls-files 'daemon/*.c' 'client/*.c' |
    xargs -P "$jobs" -n 1 clang-tidy -p build/plain --quiet "$@" 2>build/tidy.log >build/tidy.out ||
    { cat build/tidy.out; exit 1; }
  echo "clean"
}

step_lint() {
  say "formatting"
  git ls-files '*.c' '*.h' | xargs clang-format --dry-run -Werror
  say "clang-tidy" # paths through functions are followed by the step builds alone: half of the time
  tidy '--checks=-clang-analyzer-*'
}

packages_install $PACKAGES_BUILD $PACKAGES_DEMO $PACKAGES_TEST
mkdir -p build
for step in $steps; do
  "step_$step"
done
say "all steps passed: $steps"
