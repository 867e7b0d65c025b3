#!/bin/sh
# need.sh COMMAND=PACKAGE... installs the Debian packages whose commands are
# missing. Where that is not possible it says what to install.
missing=
for pair in "$@"; do
	command -v "${pair%%=*}" >/dev/null 2>&1 || missing="$missing ${pair#*=}"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null 2>&1; then
	echo "please install:$missing" >&2
	exit 1
fi
echo "installing:$missing"
apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
