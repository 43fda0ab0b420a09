#!/bin/sh
# The demo's mail program: takes a message on stdin, as sendmail does, and keeps it as a file in
# .demo/mail instead of sending it. Its arguments (who from, who to) are in the message as well.
set -eu
folder=$(cd "$(dirname "$0")/.." && pwd)/.demo/mail
mkdir -p "$folder"
coming=$(mktemp "$folder/.coming.XXXXXX")
cat >"$coming"
name=$(date +%Y%m%dT%H%M%S)
mv "$coming" "$folder/$name-${coming##*.}.eml"
