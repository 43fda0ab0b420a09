#!/bin/sh
# usage: stats_r.sh STATS_PRINT; exit 77 (skipped) where R is not installed.
if ! command -v Rscript >/dev/null 2>&1; then
  echo "R is not installed: skipped"
  exit 77
fi
exec Rscript --vanilla "$(dirname "$0")/stats_r.R" "$1"
