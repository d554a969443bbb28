// The band plays what is on the staff, ahead of time on the clock of the sound.

import { Band, Player } from "./band.js";
import { byId } from "./server.js";

const NOBODY = new Set(), BASS = new Set(["bass"]), BASS_AND_CHORDS = new Set(["bass", "comp"]), EVERYBODY = new Set(["bass", "comp", "time"]);

export class Hear {
  constructor() {
    this.band = new Band();
    this.player = new Player({ tempo: 120, swing: [] }, this.band);
    this.cursor = document.createElement("span");
    this.cursor.className = "cursor";
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    byId("play").addEventListener("click", () => this.set(!this.player.running));
    byId("tempo").addEventListener("input", event => this.setTempo(Number(event.target.value)));
    byId("unloop").addEventListener("click", () => this.loop(null));
    byId("count-in").addEventListener("change", event => { this.player.counts = event.target.checked; });
    byId("once").addEventListener("change", event => { this.player.goesOn = event.target.checked; });
    byId("keeping").addEventListener("change", event => { this.player.keeping = event.target.value; });
    for (const id of ["trade", "silence"]) byId(id).addEventListener("change", () => this.rest());
    for (const box of document.querySelectorAll("[data-part]")) box.addEventListener("change", () => this.mute());
    this.mute();
    byId("hear").addEventListener("submit", event => event.preventDefault());
    document.addEventListener("keydown", event => {
      if (event.code !== "Space" || event.target.closest("button, input, select, summary, textarea, a")) return;
      event.preventDefault();
      this.set(!this.player.running);
    });
  }

  get chorus() { return this.player.choruses[0]; }

  // Takes a line that was drawn; if the band plays, it goes on with the new notes.
  show(line, music) {
    this.music = music;
    const { player } = this, tempo = line.tempo;
    // Another chart has a tempo of its own; another line of the same keeps the one that was set.
    if (player.settings.tempo !== tempo || !player.choruses.length) this.setTempo(tempo);
    player.settings = { tempo, swing: line.swing };
    player.choruses = line.staves.choruses;
    if (player.loop && player.loop[1] >= this.chorus.bars.length) this.loop(null);
    if (player.bar >= this.chorus.bars.length) player.bar = 0;
  }

  setTempo(tempo) {
    this.player.tempo = tempo;
    byId("tempo").value = tempo;
    byId("tempo-shown").textContent = tempo;
  }

  mute() {
    const silent = [...document.querySelectorAll("[data-part]")].filter(box => !box.checked).map(box => box.dataset.part);
    this.band.mute(new Set(silent));
  }

  // Who rests in a bar, by how many were played: everybody, where the time is left to the student; bass and chords in
  // the student's bars of a trade, but that the chords lead back in the last of them, as in files.
  rest() {
    const trade = Number(byId("trade").value), [silent, of] = byId("silence").value.split(" ").map(Number);
    this.player.rests = played => {
      if (of && played % of >= of - silent) return EVERYBODY;
      if (!trade || Math.floor(played / trade) % 2 === 0) return NOBODY;
      return played % trade === trade - 1 ? BASS : BASS_AND_CHORDS;
    };
  }

  // Bars from 1, both included, over and over; none: all of them.
  loop(bars) {
    this.player.loop = bars && bars.map(bar => bar - 1);
    byId("unloop").hidden = !bars;
    byId("playing").textContent = bars ? `Bars ${bars[0]} to ${bars[1]}, over and over.` : "";
    if (!bars) return;
    if (this.player.running) [this.player.bar, this.player.beat] = [bars[0] - 1, 0];
    else this.set(true);
  }

  set(plays) {
    if (!this.chorus) return;
    if (plays) this.player.start();
    else this.player.stop();
    this.mute();
    byId("play").textContent = plays ? "Stop" : "Play";
    byId("play").setAttribute("aria-pressed", plays);
    if (plays) requestAnimationFrame(() => this.follow());
    else this.clear();
  }

  clear() {
    this.beat = null;
    this.cursor.remove();
    for (const marked of document.querySelectorAll(".now")) marked.classList.remove("now");
  }

  follow() {
    const now = this.band.heard, { shown } = this.player;
    while (shown.length && shown[0].at <= now) {
      const event = shown.shift();
      if (event.end) return this.set(false);
      if (event.note !== undefined) this.mark(event.note);
      else this.beat = event;
    }
    if (this.beat && !this.still.matches) this.point(now);
    if (this.player.running || shown.length) requestAnimationFrame(() => this.follow());
  }

  mark(index) {
    for (const note of this.music.querySelectorAll(".n.now")) note.classList.remove("now");
    for (const note of this.music.querySelectorAll(`.n[data-n="${index}"]`)) note.classList.add("now");
  }

  // Between two moments of a bar the cursor goes evenly.
  point(now) {
    const { at, seconds, from, bar } = this.beat, drawn = this.music.querySelector(`.bar[data-bar="${bar}"]`);
    const written = this.chorus.bars[bar];
    if (!drawn || !written) return;
    if (this.cursor.parentElement !== drawn) drawn.append(this.cursor);
    const tick = from + Math.min(1, Math.max(0, (now - at) / seconds)) * written.beat;
    let [before, x] = written.places[0];
    for (const [moment, share] of written.places) {
      if (moment > tick) {
        x += (share - x) * (tick - before) / (moment - before);
        break;
      }
      [before, x] = [moment, share];
    }
    this.cursor.style.left = `${Math.max(0, x) * 100}%`;
  }
}
