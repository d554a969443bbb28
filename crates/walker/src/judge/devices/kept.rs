//! Devices that keep a note: pedals, anticipations, common tones, repeats.

use crate::judge::played::Played;
use endpin_theory::Ticks;

/// Notes of stretches in which one chroma, the tonic or the dominant of the key, lasts through three chords
/// and at least two bars.
pub(super) fn pedals(line: &Played<'_>) -> Vec<bool> {
    let chorus = &line.judge.chorus;
    let tonic = chorus.key.tonic.chroma();
    let dominant = (tonic + 7) % 12;
    let mut found = vec![false; line.heard.len()];
    let mut begin = 0;
    while begin < line.heard.len() {
        let chroma = line.heard[begin].key % 12;
        let count = (begin..line.heard.len())
            .take_while(|&note| line.heard[note].key % 12 == chroma)
            .count();
        let end = begin + count;
        let mut spans: Vec<_> = (begin..end)
            .filter_map(|note| Some((line.heard[note].chorus, line.stands[note].span?)))
            .collect();
        spans.dedup();
        let under: usize = (begin..end)
            .map(|note| line.under(note).filter(|place| place.onset.arrival).count())
            .sum();
        let last = &line.heard[end - 1];
        let length = line.stands[end - 1].time + last.length - line.stands[begin].time;
        let bar = chorus.bars[0].meter.bar_ticks();
        let long = length.0 * 10 >= bar.0 * 19;
        if spans.len() + under >= 3 && long && (chroma == tonic || chroma == dominant) {
            found[begin..end].fill(true);
        }
        begin = end;
    }
    found
}

/// Whether a note is the coming root, struck at most a beat early and held over its arrival, or taken up again
/// there.
pub(super) fn anticipates(line: &Played<'_>, note: usize) -> bool {
    let stand = &line.stands[note];
    let key = line.heard[note].key;
    let mut stressed = line.under(note).filter(|place| place.onset.stressed);
    let held = stressed
        .next()
        .is_some_and(|place| place.onset.arrival && place.onset.is_bass(key));
    let end = stand.time + line.heard[note].length;
    let taken_up = line.stands.get(note + 1).is_some_and(|next| {
        let close = next.time - stand.time <= stand.beat_length && next.time <= end + Ticks(1);
        let onset = &line.place(note + 1).onset;
        let is_root = onset.arrival && onset.is_bass(key);
        let weak = !line.place(note).onset.stressed;
        is_root && weak && close && line.heard[note + 1].key % 12 == key % 12
    });
    held || taken_up
}

/// Whether a note stays, as a tone of both, while one chord gives way to another: the one that is struck again at
/// the arrival or held over it, or the one before.
pub(super) fn stays(line: &Played<'_>, note: usize) -> bool {
    let key = line.heard[note].key;
    let is_tone = |note: usize| line.place(note).onset.tones.contains(line.heard[note].key);
    let again = |note: usize| line.heard.get(note).is_some_and(|other| other.key == key);
    let arrives = |note: usize| line.place(note).onset.arrival;
    let struck_again = note > 0 && arrives(note) && again(note - 1) && is_tone(note - 1);
    let comes_again = again(note + 1) && arrives(note + 1) && is_tone(note + 1);
    let mut under = line.under(note).filter(|place| place.onset.stressed);
    let held = under.next().is_some_and(|place| {
        place.onset.arrival && place.onset.tones.contains(key) && under.next().is_none()
    });
    is_tone(note) && (struck_again || comes_again || held)
}

/// Whether a note of the chord or its scale is the same as the one before.
pub(super) fn repeats(line: &Played<'_>, note: usize) -> bool {
    let key = line.heard[note].key;
    note > 0 && line.heard[note - 1].key == key && line.place(note).onset.connects(key)
}
