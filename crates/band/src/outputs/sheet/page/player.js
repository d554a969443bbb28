// The player: each look schedules all beats that begin before a horizon, on the clock of the sound, so that
// lateness of the page never reaches the ear.

const QUARTER = 960;
// Seconds between looks, and how far ahead each reaches; hidden pages are seldom woken.
const LOOK = 0.1, AHEAD = 0.9, AHEAD_HIDDEN = 3;

const NOBODY_RESTS = new Set();

class Player {
  constructor(settings, band) {
    Object.assign(this, { settings, band, tempo: settings.tempo, keeping: "ride", loop: null, goesOn: false, counts: true, choruses: [], chorus: 0, rests: () => NOBODY_RESTS });
    this.running = false;
    this.shown = [];
  }

  start() {
    this.band.open();
    this.running = true;
    this.shown = [];
    this.bar = this.loop ? this.loop[0] : 0;
    this.beat = 0;
    this.played = 0;
    this.time = this.band.now + 0.12;
    const bar = this.choruses[this.chorus].bars[this.bar];
    this.counting = this.counts ? bar.length / bar.beat : 0;
    this.look();
  }

  stop() {
    this.running = false;
    clearTimeout(this.timer);
    this.shown = [];
    this.band.silence();
  }

  look() {
    const horizon = document.hidden ? AHEAD_HIDDEN : AHEAD;
    while (this.running && this.time < this.band.now + horizon) this.scheduleBeat();
    if (this.running) this.timer = setTimeout(() => this.look(), LOOK * 1000);
  }

  // Goes to a chorus (from 0) at its start, from the next beat on.
  turnTo(chorus) {
    this.chorus = chorus;
    this.bar = this.loop ? this.loop[0] : 0;
    this.beat = 0;
  }

  scheduleBeat() {
    const chorus = this.choruses[this.chorus];
    if (this.bar >= chorus.bars.length) this.bar = 0;
    const bar = chorus.bars[this.bar];
    const quarter = 60 / (bar.tempo * this.tempo / this.settings.tempo);
    const seconds = bar.beat / QUARTER * quarter;
    if (this.counting > 0) {
      const beats = bar.length / bar.beat;
      this.band.click(this.time, this.counting === beats);
      this.tell({ part: "count", at: this.time });
      this.counting--;
      this.time += seconds;
      return;
    }
    const from = this.beat * bar.beat, to = from + bar.beat;
    const swung = this.swing(bar), place = tick => this.time + (swung(tick) - from) / QUARTER * quarter;
    const within = start => start - bar.start >= from && start - bar.start < to;
    // Parts that leave this bar to the student, by the number of bars before it.
    const resting = this.rests(this.played);
    const where = { chorus: chorus.number, bar: this.bar + 1 };
    chorus.notes.forEach((note, index) => {
      if (!within(note.start)) return;
      const at = place(note.start - bar.start), length = place(note.start + note.length - bar.start) - at;
      this.shown.push({ at, note: index });
      if (resting.has("bass")) return;
      this.band.bass(at, note.midi, length, note.ghost);
      this.tell({ part: "bass", at, midi: note.midi, start: note.start, length: note.length, ...where });
    });
    for (const [start, ticks, keys] of chorus.comp) {
      if (!within(start) || resting.has("comp")) continue;
      const at = place(start - bar.start);
      this.band.chord(at, keys, place(start + ticks - bar.start) - at);
      this.tell({ part: "comp", at, keys, start, length: ticks, ...where });
    }
    if ((!bar.ending || this.beat === 0) && !resting.has("time")) this.keepTime(bar, quarter, where);
    this.shown.push({ at: this.time, chorus: this.chorus, bar: this.bar, beat: this.beat, from, seconds });
    this.time += seconds;
    this.advance(chorus, bar);
  }

  // Ride, hi-hat or click on one beat.
  keepTime(bar, quarter, where) {
    const at = this.time, back = bar.backs.includes(this.beat);
    this.tell({ part: "time", at, ...where });
    if (this.keeping === "beats") return this.band.click(at, this.beat === 0);
    if (this.keeping === "backs") return back && this.band.click(at, false);
    this.band.ride(at, back ? 0.8 : 0.65);
    if (!back || bar.ending) return;
    this.band.hat(at);
    if (bar.beat === QUARTER) {
      const skip = this.swing(bar)(QUARTER / 2);
      this.band.ride(at + skip / QUARTER * quarter, 0.45);
    }
  }

  advance(chorus, bar) {
    if (++this.beat < bar.length / bar.beat) return;
    this.beat = 0;
    this.bar++;
    this.played++;
    if (this.loop && this.bar > this.loop[1]) {
      this.bar = this.loop[0];
      return;
    }
    const bars = chorus.bars, ends = bars[bars.length - 1].ending;
    if (this.bar < bars.length - (ends && !this.goesOn ? 1 : 0)) return;
    this.bar = 0;
    if (!this.goesOn) return;
    if (this.chorus + 1 < this.choruses.length) this.chorus++;
    else this.finish();
  }

  // The last beat is scheduled: let it sound, then stop.
  finish() {
    this.running = false;
    this.shown.push({ at: this.time, end: true });
  }

  // The map from written to played ticks of a bar, for all players: off-beat eighths move,
  // what lies between moves with them, written triplets stay.
  swing(bar) {
    if (bar.beat !== QUARTER || bar.ratio === 1) return tick => tick;
    const ratios = this.settings.swing, place = Math.min(38, Math.max(0, bar.tempo * this.tempo / this.settings.tempo / 10 - 2));
    const below = Math.floor(place), above = Math.min(38, below + 1);
    const ratio = bar.ratio || ratios[below] + (ratios[above] - ratios[below]) * (place - below);
    const off = QUARTER * ratio / (ratio + 1), half = QUARTER / 2;
    return tick => {
      const whole = Math.floor(tick / QUARTER) * QUARTER, into = tick - whole;
      if (into === QUARTER / 3 || into === 2 * QUARTER / 3) return tick;
      return whole + (into <= half ? into * off / half : off + (into - half) * (QUARTER - off) / half);
    };
  }

  // Tells whoever listens what was scheduled, and how long before it sounds.
  tell(detail) {
    detail.ahead = detail.at - this.band.now;
    detail.silent = this.band.muted.has(detail.part);
    document.dispatchEvent(new CustomEvent("scheduled", { detail }));
  }
}
