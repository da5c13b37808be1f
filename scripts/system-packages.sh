#!/bin/sh
# What the tests need from the system: a Chromium for the browser tests, poppler to look at PDF pages, openssl,
# a PostgreSQL server that the tests start for themselves.
# Installs them where it may (Debian, as root); says plainly what is missing where it may not.
missing=""
command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1 || missing="$missing chromium"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
command -v openssl >/dev/null 2>&1 || missing="$missing openssl"
command -v initdb >/dev/null 2>&1 || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "installing from the system's packages:$missing"
    # shellcheck disable=SC2086
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing; } >/dev/null 2>&1 && exit 0
fi
echo "Not there and not installable from here:$missing."
echo "Install them with your system's package manager; until then the tests that need them are skipped and say so."
exit 0
