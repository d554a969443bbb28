"""Learns the default weights from recorded lines, and says how well they foretell others.

    python learn_players.py FOLDER -o weights.toml [--endpin PROGRAM] [--level N] [--strict] [--weights BEGIN.toml]

FOLDER is described in players.py. Of every other line the cleaner ones are learnt from; of the others they are foretold. The default table in
crates/walker/src/tastes is what this prints, rounded.
"""

import argparse
import json
import subprocess
import tempfile

import players


def learn(program, paths, *options):
    """What `endpin learn --json` says."""
    done = subprocess.run([program, "learn", *paths, "--json", *options], capture_output=True, check=True)
    return json.loads(done.stdout)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder")
    parser.add_argument("-o", "--output", required=True)
    parser.add_argument("--endpin", default="endpin")
    parser.add_argument("--level", default="5")
    parser.add_argument("--strict", action="store_true")
    parser.add_argument("--weights", help="weights to begin from")
    parser.add_argument("--foretell", action="append", default=[], help="other weights to foretell by")
    args = parser.parse_args()
    lines = players.read(args.folder)
    develop, report = players.halves(lines)
    options = ["--level", args.level] + ["--strict"] * args.strict
    with tempfile.TemporaryDirectory() as folder:
        learning = players.write(lines, develop, f"{folder}/develop")
        others = players.write(lines, report, f"{folder}/report")
        begin = ["--weights", args.weights] if args.weights else []
        learnt = learn(args.endpin, learning, "-o", args.output, *options, *begin)
        print(f"learnt from {learnt['used']} of {learnt['notes']} notes of {len(develop)} lines")
        print("bits a note:", learnt["bits_per_note"], "held out:", learnt["held_out"])
        for weights in [args.output, *args.foretell]:
            told = learn(args.endpin, others, *options, "--weights", weights)
            bits = told["bits_per_note"]
            print(
                f"{weights}: {told['used']} of {told['notes']} notes of {len(report)} other lines: "
                f"{bits['default']:.3f} bits a note, all lines alike {bits['uniform']:.3f}"
            )


if __name__ == "__main__":
    main()
