#!/bin/sh
# Runs the benchmarks of this checkout and of another one in turn, several rounds, and prints the ratio of their times for each
# benchmark that both have. Each checkout builds and runs its own benchmarks. Not part of the tests.
#   tests/bench/compare.sh OTHER_CHECKOUT [ROUNDS] [BENCH...]
#     ROUNDS    how often each runs (3); the fastest round of each counts, so that a busy machine disturbs less
#     BENCH     bench targets (all of this checkout)
# Ends with 1 if a benchmark takes more than 1.05 times as long as in the other checkout.
set -eu
here=$(cd "$(dirname "$0")/../.." && pwd)
[ $# -ge 1 ] && [ -f "$1/Cargo.toml" ] || { echo "usage: tests/bench/compare.sh OTHER_CHECKOUT [ROUNDS] [BENCH...]" >&2; exit 2; }
other=$(cd "$1" && pwd)
rounds=${2:-3}
[ $# -lt 2 ] && shift 1 || shift 2
benches=${*:-$(sed -n '/^\[\[bench\]\]/,/^$/s/^name = "\(.*\)"/\1/p' "$here/Cargo.toml")}
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT INT TERM

# Built first, so that no compiler runs beside a measurement.
for checkout in "$here" "$other"; do
    for bench in $benches; do
        echo "building $bench in $checkout" >&2
        (cd "$checkout" && cargo bench --locked --bench "$bench" --no-run)
    done
done
round=1
while [ "$round" -le "$rounds" ]; do
    for bench in $benches; do
        for side in here other; do
            checkout=$here
            [ "$side" = here ] || checkout=$other
            echo "round $round of $rounds: $bench, $side" >&2
            (cd "$checkout" && cargo bench --locked --bench "$bench" -- --noplot) >"$dir/$side-$bench-$round" 2>&1 ||
                { cat "$dir/$side-$bench-$round" >&2; exit 2; }
        done
    done
    round=$((round + 1))
done
python3 - "$dir" <<'PY'
import pathlib, re, sys

UNITS = {"ps": 1e-12, "ns": 1e-9, "µs": 1e-6, "us": 1e-6, "ms": 1e-3, "s": 1.0}
# Criterion prints `name   time:   [low median high]`; a long name stands on the line before.
TIME = re.compile(r"^(?P<name>\S.*?)?\s+time:\s+\[\S+ \S+ (?P<median>[\d.]+) (?P<unit>\S+) ", re.M)


def medians(side):
    """The least median of each benchmark in the rounds of one side, in seconds."""
    least = {}
    for file in sorted(pathlib.Path(sys.argv[1]).glob(f"{side}-*")):
        name = ""
        for line in file.read_text().splitlines():
            found = TIME.match(line)
            if found:
                name = found["name"] or name
                seconds = float(found["median"]) * UNITS[found["unit"]]
                least[name] = min(seconds, least.get(name, seconds))
            elif line and not line[0].isspace():
                name = line.strip()
    return least


here, other = medians("here"), medians("other")
shared = [name for name in here if name in other]
if not shared:
    sys.exit("compare.sh: the checkouts share no benchmark")
width = max(map(len, shared))
print(f"{'benchmark':{width}}  {'other':>13} {'here':>13}  ratio")
slower = []
for name in shared:
    ratio = here[name] / other[name]
    mark = ""
    if ratio > 1.05:
        slower.append(name)
        mark = "  slower"
    print(f"{name:{width}}  {other[name] * 1e6:10.3f} µs {here[name] * 1e6:10.3f} µs  {ratio:5.3f}{mark}")
for name in sorted(set(here) ^ set(other)):
    print(f"only {'here' if name in here else 'in the other'}: {name}")
sys.exit(1 if slower else 0)
PY
