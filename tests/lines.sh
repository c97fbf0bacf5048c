#!/bin/sh
# Counts the lines of src without tests: leaves out files named tests.rs, files in a folder named tests, modules declared under
# #[cfg(test)], and items under #[cfg(test)] inside other files. Prints the lines of each top-level module and the total.
#   tests/lines.sh [CHECKOUT]     another checkout than this one
set -eu
cd "${1:-$(dirname "$0")/..}"
files=$(find src -name '*.rs' ! -name 'tests.rs' ! -path '*/tests/*' | LC_ALL=C sort)

# The files of the modules that are declared under #[cfg(test)].
test_modules() {
    # shellcheck disable=SC2086
    awk '
        FNR == 1 { marked = 0 }
        /^[ \t]*#\[cfg\(test\)\]/ { marked = 1; next }
        marked && /^[ \t]*#\[/ { next }
        marked && /^[ \t]*(pub(\([a-z]+\))? )?mod [a-z_0-9]+;/ {
            name = $0
            sub(/^.*mod /, "", name)
            sub(/;.*$/, "", name)
            folder = FILENAME
            if (folder ~ /\/(mod|lib|main)\.rs$/) sub(/\/[a-z]+\.rs$/, "", folder)
            else sub(/\.rs$/, "", folder)
            print folder "/" name
        }
        { marked = 0 }
    ' $files
}

left_out=$(test_modules)
kept=
for file in $files; do
    is_test=
    for module in $left_out; do
        case "$file" in "$module.rs" | "$module"/*) is_test=yes ;; esac
    done
    [ -n "$is_test" ] || kept="$kept $file"
done

# An item under #[cfg(test)] ends with the line that closes it at its own indentation, or with its first line if that ends it.
# shellcheck disable=SC2086
awk '
    FNR == 1 { skipping = 0 }
    !skipping && /^[ \t]*#\[cfg\(test\)\]/ {
        skipping = 1
        match($0, /^[ \t]*/)
        indent = substr($0, 1, RLENGTH)
        next
    }
    skipping == 1 {
        if ($0 ~ /^[ \t]*#\[/) next
        skipping = ($0 ~ /[;}]$/) ? 0 : 2
        next
    }
    skipping == 2 {
        if (index($0, indent "}") == 1 || index($0, indent "]") == 1) skipping = 0
        next
    }
    {
        module = FILENAME
        sub(/^src\//, "", module)
        sub(/(\/.*|\.rs)$/, "", module)
        lines[module]++
        total++
    }
    END {
        for (module in lines) printf "%7d %s\n", lines[module], module | "LC_ALL=C sort -k2"
        close("LC_ALL=C sort -k2")
        printf "%7d total\n", total
    }
' $kept
