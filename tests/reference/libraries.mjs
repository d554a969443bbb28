// Answers of the JavaScript libraries. Reads requests as JSON lines, [kind, ...arguments], and prints one
// JSON answer for each: {library: [note names]}, without the libraries that cannot read it.
import { createRequire } from "node:module";
import { createInterface } from "node:readline";

const require = createRequire(`${process.env.NODE_MODULES}/`);
const { Chord, Note, Scale } = require("tonal");
const { chordParserFactory } = require("./chord-symbol/lib/chord-symbol.js"); // its package entry points at sources it does not ship
const teoria = require("teoria");
const parse = chordParserFactory();

const SIGNS = ["bb", "b", "", "#", "x"];
const name = (note) => note.name().toUpperCase() + note.accidental().replace("x", "##");

// chord-symbol gives intervals, and names without double signs: spell them from the root.
const LETTERS = "CDEFGAB";
const SEMITONES = [0, 2, 4, 5, 7, 9, 11];
function above(root, degree) {
  const [, signs, number] = degree.match(/^([b#]*)(\d+)$/);
  const steps = Number(number) - 1;
  const from = LETTERS.indexOf(root[0]);
  const to = (from + steps) % 7;
  const rootSigns = [...root.slice(1)].reduce((n, c) => n + (c === "#" ? 1 : -1), 0);
  const wanted = SEMITONES[steps % 7] + [...signs].reduce((n, c) => n + (c === "#" ? 1 : -1), 0);
  const natural = (SEMITONES[to] - SEMITONES[from] + 12) % 12;
  let alteration = (wanted - natural + rootSigns) % 12;
  if (alteration > 6) alteration -= 12;
  if (alteration < -6) alteration += 12;
  return LETTERS[to] + (alteration < 0 ? "b".repeat(-alteration) : "#".repeat(alteration));
}

const asked = {
  chord(symbol) {
    return {
      tonal: () => {
        const chord = Chord.get(symbol);
        return chord.empty ? null : chord.notes;
      },
      "chord-symbol": () => {
        const chord = parse(symbol);
        if (chord.error?.length || !chord.normalized) return null;
        const { rootNote, intervals } = chord.normalized;
        return intervals.map((degree) => above(rootNote, degree));
      },
      teoria: () => teoria.chord(symbol).notes().map(name),
    };
  },
  scale(tonic, tonalName, teoriaName) {
    return {
      tonal: () => {
        const scale = Scale.get(`${tonic} ${tonalName}`);
        return scale.empty ? null : scale.notes;
      },
      teoria: () => teoriaName && teoria.scale(tonic.toLowerCase(), teoriaName).notes().map(name),
    };
  },
  transpose(note, interval) {
    return { tonal: () => [Note.transpose(note, interval)] };
  },
};

for await (const line of createInterface({ input: process.stdin })) {
  const [kind, ...rest] = JSON.parse(line);
  const answers = {};
  for (const [library, ask] of Object.entries(asked[kind](...rest))) {
    try {
      const notes = ask();
      if (notes?.length) answers[library] = notes;
    } catch {
      // It cannot read this one.
    }
  }
  console.log(JSON.stringify(answers));
}
