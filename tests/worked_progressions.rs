//! Progressions analysed by hand, each named by its form: function, local key and scale of every chord.
//! All are common practice, no source. Lines read `symbol: function; key; scale`.

use endpin_theory::{Chart, analyse};

fn check(form: &str, home: &str, bars: &str, by_hand: &str) {
    let chart = Chart::from_bars(bars, "4/4".parse().unwrap()).unwrap();
    let spans = chart.chorus().spans;
    let home = home.parse().unwrap();
    let found: Vec<String> = spans
        .iter()
        .zip(analyse(&spans, home))
        .map(|(span, u)| format!("{}: {}; {}; {}", span.symbol, u.function, u.key, u.scale))
        .collect();
    let expected: Vec<&str> = by_hand.trim().lines().map(str::trim).collect();
    assert_eq!(found, expected, "{form}");
}

#[test]
fn plain_blues() {
    check(
        "twelve bars, three chords",
        "G",
        "G7 | % | % | % | C7 | % | G7 | % | D7 | C7 | G7 | D7",
        "G7: I7; G; G mixolydian
         C7: IV7; G; C mixolydian
         G7: I7; G; G mixolydian
         D7: V7; G; D mixolydian
         C7: IV7; G; C mixolydian
         G7: I7; G; G mixolydian
         D7: V7; G; D mixolydian",
    );
}

#[test]
fn jazz_blues() {
    check(
        "jazz blues",
        "F",
        "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bdim7 | F7 | D7b9 | Gm7 | C7 | F7 D7 | Gm7 C7",
        "F7: I7; F; F mixolydian
         Bb7: IV7; F; Bb mixolydian
         F7: I7; F; F mixolydian
         Cm7: v7 (ii7/IV); F; C dorian
         F7: I7 (V7/IV); F; F mixolydian
         Bb7: IV7; F; Bb mixolydian
         Bdim7: #ivo7 (passing); F; B whole-half diminished
         F7: I7; F; F mixolydian
         D7b9: VI7b9 (V7/ii); F; D half-whole diminished
         Gm7: ii7; F; G dorian
         C7: V7; F; C mixolydian
         F7: I7; F; F mixolydian
         D7: VI7 (V7/ii); F; D half-whole diminished
         Gm7: ii7; F; G dorian
         C7: V7; F; C mixolydian",
    );
}

#[test]
fn minor_blues() {
    check(
        "minor blues",
        "C minor",
        "Cm7 | Fm7 | Cm7 | C7 | Fm7 | % | Cm7 | % | Ab7 | G7 | Cm7 | Dm7b5 G7b9",
        "Cm7: i7; C minor; C dorian
         Fm7: iv7; C minor; F dorian
         Cm7: i7; C minor; C dorian
         C7: I7 (V7/iv); C minor; C phrygian dominant
         Fm7: iv7; C minor; F dorian
         Cm7: i7; C minor; C dorian
         Ab7: VI7 (subV7/V); C minor; Ab lydian dominant
         G7: V7; C minor; G phrygian dominant
         Cm7: i7; C minor; C dorian
         Dm7b5: iiø7; C minor; D locrian
         G7b9: V7b9; C minor; G phrygian dominant",
    );
}

#[test]
fn aaba_with_dominant_bridge() {
    check(
        "A and bridge of an AABA form",
        "Bb",
        "Bb6 G7 | Cm7 F7 | Dm7 G7 | Cm7 F7 | Fm7 Bb7 | Ebmaj7 Ebm6 | Bb6 F7 | Bb6 |
         D7 | % | G7 | % | C7 | % | F7 | %",
        "Bb6: I6; Bb; Bb major
         G7: VI7 (V7/ii); Bb; G half-whole diminished
         Cm7: ii7; Bb; C dorian
         F7: V7; Bb; F mixolydian
         Dm7: iii7; Bb; D phrygian
         G7: VI7 (V7/ii); Bb; G half-whole diminished
         Cm7: ii7; Bb; C dorian
         F7: V7; Bb; F mixolydian
         Fm7: ii7; Eb; F dorian
         Bb7: V7; Eb; Bb mixolydian
         Ebmaj7: Imaj7; Eb; Eb major
         Ebm6: iv6 (borrowed); Bb; Eb melodic minor
         Bb6: I6; Bb; Bb major
         F7: V7; Bb; F mixolydian
         Bb6: I6; Bb; Bb major
         D7: III7 (V7/vi); Bb; D mixolydian
         G7: VI7 (V7/ii); Bb; G mixolydian
         C7: II7 (V7/V); Bb; C mixolydian
         F7: V7; Bb; F mixolydian",
    );
}

#[test]
fn cycle_of_two_five_ones() {
    check(
        "ii-V-I falling by whole steps",
        "C",
        "Dm7 | G7 | Cmaj7 | % | Cm7 | F7 | Bbmaj7 | % | Bbm7 | Eb7 | Abmaj7 | %",
        "Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian
         Cmaj7: Imaj7; C; C major
         Cm7: ii7; Bb; C dorian
         F7: V7; Bb; F mixolydian
         Bbmaj7: Imaj7; Bb; Bb major
         Bbm7: ii7; Ab; Bb dorian
         Eb7: V7; Ab; Eb mixolydian
         Abmaj7: Imaj7; Ab; Ab major",
    );
}

#[test]
fn minor_two_five_into_two() {
    check(
        "turnaround by way of a minor ii-V",
        "C",
        "Cmaj7 | % | Em7b5 | A7b9 | Dm7 | G7 | Cmaj7 A7 | Dm7 G7",
        "Cmaj7: Imaj7; C; C major
         Em7b5: iiiø7 (iiø7/ii); C; E locrian
         A7b9: VI7b9 (V7/ii); C; A half-whole diminished
         Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian
         Cmaj7: Imaj7; C; C major
         A7: VI7 (V7/ii); C; A half-whole diminished
         Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian",
    );
}

#[test]
fn backdoor() {
    check(
        "iv and bVII7 home from below",
        "C",
        "Cmaj7 | % | Fmaj7 | Fm7 Bb7 | Cmaj7 | A7 | Dm7 | G7",
        "Cmaj7: Imaj7; C; C major
         Fmaj7: IVmaj7; C; F lydian
         Fm7: iv7 (borrowed); C; F dorian
         Bb7: bVII7 (backdoor); C; Bb lydian dominant
         Cmaj7: Imaj7; C; C major
         A7: VI7 (V7/ii); C; A half-whole diminished
         Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian",
    );
}

#[test]
fn tritone_substitutes() {
    check(
        "chromatic turnaround",
        "C",
        "Cmaj7 Eb7 | Dm7 Db7 | Cmaj7 | Ebm7 Ab7 | Dm7 | Abm7 Db7 | Cmaj7 | %",
        "Cmaj7: Imaj7; C; C major
         Eb7: bIII7 (subV7/ii); C; Eb lydian dominant
         Dm7: ii7; C; D dorian
         Db7: bII7 (subV7/I); C; Db lydian dominant
         Cmaj7: Imaj7; C; C major
         Ebm7: biii7 (ii7 of subV7/V); C; Eb dorian
         Ab7: bVI7 (subV7/V); C; Ab lydian dominant
         Dm7: ii7; C; D dorian
         Abm7: bvi7 (ii7 of subV7/I); C; Ab dorian
         Db7: bII7 (subV7/I); C; Db lydian dominant
         Cmaj7: Imaj7; C; C major",
    );
}

#[test]
fn sharp_four_diminished() {
    check(
        "IV, #IV diminished, I over its fifth",
        "C",
        "C6 C7 | F6 F#dim7 | C/G A7 | D7 G7",
        "C6: I6; C; C major
         C7: I7 (V7/IV); C; C mixolydian
         F6: IV6; C; F lydian
         F#dim7: #ivo7 (viio7/V); C; F# whole-half diminished
         C/G: I; C; C major
         A7: VI7 (V7/ii); C; A mixolydian
         D7: II7 (V7/V); C; D mixolydian
         G7: V7; C; G mixolydian",
    );
}

#[test]
fn rising_and_falling_diminished() {
    check(
        "passing diminished chords up to iii and down again",
        "C",
        "Cmaj7 C#dim7 | Dm7 D#dim7 | Em7 Ebdim7 | Dm7 G7",
        "Cmaj7: Imaj7; C; C major
         C#dim7: #io7 (viio7/ii); C; C# whole-half diminished
         Dm7: ii7; C; D dorian
         D#dim7: #iio7 (viio7/iii); C; D# whole-half diminished
         Em7: iii7; C; E phrygian
         Ebdim7: biiio7 (passing); C; Eb whole-half diminished
         Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian",
    );
}

#[test]
fn diatonic_cycle_in_minor() {
    check(
        "falling fifths through the relative major to a minor cadence",
        "G minor",
        "Cm7 | F7 | Bbmaj7 | Ebmaj7 | Am7b5 | D7b9 | Gm6 | %",
        "Cm7: ii7; Bb; C dorian
         F7: V7; Bb; F mixolydian
         Bbmaj7: Imaj7; Bb; Bb major
         Ebmaj7: VImaj7; G minor; Eb lydian
         Am7b5: iiø7; G minor; A locrian
         D7b9: V7b9; G minor; D phrygian dominant
         Gm6: i6; G minor; G melodic minor",
    );
}

#[test]
fn deceptive_moves() {
    check(
        "V to vi, V to bVI",
        "D",
        "Dmaj7 | A7 | Bm7 | E7 | Em7 | A7 | Bbmaj7 | A7",
        "Dmaj7: Imaj7; D; D major
         A7: V7; D; A mixolydian
         Bm7: vi7; D; B aeolian
         E7: II7 (V7/V); D; E mixolydian
         Em7: ii7; D; E dorian
         A7: V7; D; A mixolydian
         Bbmaj7: bVImaj7 (borrowed); D; Bb lydian
         A7: V7; D; A mixolydian",
    );
}

#[test]
fn modulating_bridge() {
    check(
        "a bridge through two keys and home",
        "C",
        "Dm7 | G7 | Cmaj7 | % | Fm7 | Bb7 | Ebmaj7 | % | Ebm7 | Ab7 | Dbmaj7 | % | Dm7 | G7 | Cmaj7 | %",
        "Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian
         Cmaj7: Imaj7; C; C major
         Fm7: ii7; Eb; F dorian
         Bb7: V7; Eb; Bb mixolydian
         Ebmaj7: Imaj7; Eb; Eb major
         Ebm7: ii7; Db; Eb dorian
         Ab7: V7; Db; Ab mixolydian
         Dbmaj7: Imaj7; Db; Db major
         Dm7: ii7; C; D dorian
         G7: V7; C; G mixolydian
         Cmaj7: Imaj7; C; C major",
    );
}

#[test]
fn modal_form() {
    check(
        "one minor chord, up a half step, and back",
        "D minor",
        "Dm7 | % | % | % | % | % | % | % | Ebm7 | % | % | % | % | % | % | % | Dm7 | % | % | %",
        "Dm7: i7; D minor; D dorian
         Ebm7: i7; Eb minor; Eb dorian
         Dm7: i7; D minor; D dorian",
    );
}

#[test]
fn minor_line_cliche() {
    check(
        "a falling line over the tonic, then iv and V",
        "A minor",
        "Am Am(maj7) | Am7 Am6 | Dm7 | E7alt | Am6 | %",
        "Am: i; A minor; A dorian
         Am(maj7): iMaj7; A minor; A melodic minor
         Am7: i7; A minor; A dorian
         Am6: i6; A minor; A melodic minor
         Dm7: iv7; A minor; D dorian
         E7alt: V7alt; A minor; E altered
         Am6: i6; A minor; A melodic minor",
    );
}

#[test]
fn major_thirds() {
    check(
        "keys a major third apart",
        "G",
        "Gmaj7 | Bb7 | Ebmaj7 | % | F#7 | Bmaj7 | % | Am7 D7",
        "Gmaj7: Imaj7; G; G major
         Bb7: V7; Eb; Bb mixolydian
         Ebmaj7: Imaj7; Eb; Eb major
         F#7: V7; B; F# mixolydian
         Bmaj7: Imaj7; B; B major
         Am7: ii7; G; A dorian
         D7: V7; G; D mixolydian",
    );
}

#[test]
fn written_alterations_win() {
    check(
        "dominants of one function with various alterations",
        "C",
        "Dm7 | G7alt | Cmaj7#11 | A7#5 | Dm9 | G7b9b13 | Cmaj7#5 | G9#5 | C6 | G13b9 | C69 | G7sus4b9",
        "Dm7: ii7; C; D dorian
         G7alt: V7alt; C; G altered
         Cmaj7#11: Imaj7#11; C; C lydian
         A7#5: VI7#5 (V7/ii); C; A altered
         Dm9: ii9; C; D dorian
         G7b9b13: V7b9b13; C; G phrygian dominant
         Cmaj7#5: Imaj7#5; C; C lydian augmented
         G9#5: V9#5; C; G whole tone
         C6: I6; C; C major
         G13b9: V13b9; C; G half-whole diminished
         C69: I69; C; C major
         G7sus4b9: V7sus4b9; C; G dorian b2",
    );
}
