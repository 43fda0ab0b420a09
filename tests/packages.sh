# Debian packages this project needs, and packages_install, which brings only what is missing.
# Sourced by data/demo.sh and tests/run.sh (POSIX sh). With nothing missing, nothing is run: no
# network, no root.

PACKAGES_BUILD="gcc libc6-dev cmake ninja-build pkg-config libevent-dev libjansson-dev
  libsqlite3-dev libgsl-dev libpcre2-dev libcsv-dev libzip-dev libexpat1-dev libmagic-dev libcurl4-openssl-dev libssl-dev
  libsystemd-dev libpq-dev dpkg-dev file"
PACKAGES_DEMO="python3 tzdata"
PACKAGES_TEST="git libcmocka-dev zsh clang clang-format clang-tidy libclang-rt-dev jq sqlite3 postgresql curl tmux
  wamerican-small wspanish msmtp systemd systemd-container debootstrap python3-seccomp
  python3-aiosmtpd python3-numpy python3-scipy python3-sklearn python3-jsonschema python3-prometheus-client r-base-core
  r-cran-epitools r-cran-surveillance chromium openssl"

# Prints those of the named packages that dpkg does not know as installed.
packages_missing() {
  for package in "$@"; do
    dpkg-query -W -f '${db:Status-Status}\n' "$package" 2>/dev/null | grep -qx installed ||
      printf '%s ' "$package"
  done
}

# packages_install NAME...: 0 when all are there in the end.
packages_install() {
  if ! command -v dpkg-query >/dev/null; then
    echo "not a Debian system: please see that these, or what answers to them, are installed:" >&2
    echo "  $*" >&2
    return 0
  fi
  missing=$(packages_missing "$@")
  [ -n "$missing" ] || return 0
  as_root=
  if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
      echo "missing packages, and neither root nor sudo to install them: $missing" >&2
      return 1
    fi
    as_root=sudo
  fi
  echo "installing: $missing"
  # shellcheck disable=SC2086 # both are lists of words
  $as_root env DEBIAN_FRONTEND=noninteractive sh -c '
    install() { apt-get install -q -y --no-install-recommends "$@"; }
    install "$@" || { apt-get update -q && install "$@"; }' install $missing >/dev/null || {
    echo "apt-get could not install: $missing" >&2
    return 1
  }
}
