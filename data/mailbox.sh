#!/bin/sh
# The demo's mail program: takes a message on stdin, as sendmail does, and keeps it as a file in
# .demo/mail instead of sending it. Its arguments (who from, who to) are in the message as well.
set -eu
folder=${0%/*}/../.demo/mail
cat >"$folder/.coming.$$"
mv "$folder/.coming.$$" "$folder/$(date +%Y%m%dT%H%M%S)-$$.eml"
