#!/bin/sh
# Counts the instructions of the three hot paths and writes them to callgrind.txt, which is tracked: a
# slow-down shows in review. Needs valgrind.
set -eu
cd "$(dirname "$0")"
cargo build --release --quiet --bin paths
out=$(mktemp)
trap 'rm -f "$out"' EXIT
count() {
    valgrind --quiet --tool=callgrind --callgrind-out-file="$out" \
        --toggle-collect="paths::$1*" target/release/paths
    instructions=$(sed -n 's/^\(totals\|summary\): //p' "$out" | tail -1)
    awk -v what="$2" -v count="$instructions" -v times="$3" -v unit="$4" \
        'BEGIN { printf "%-52s %10.1f %s\n", what, count / times, unit }'
}
{
    count build_the_lattices 'building the lattice, level 4, 12 bars' 1000000 'million instructions'
    count draw_ten_thousand_choruses 'drawing a chorus of it, among ten thousand' 10000000 'thousand instructions'
    count write_a_file 'three choruses of the band: from lattices to bytes' 1000000 'million instructions'
} | tee callgrind.txt
