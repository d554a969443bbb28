//! Pages of random charts at all sizes of staff: laws of an engraver that hold whatever the music.

use endpin::outputs::sheet::{
    breaks,
    engrave::{
        ShownBesides,
        bar::EngravedBar,
        ink::{DrawnShape, Picture, Shape, ShapeUse},
        signature,
    },
    measure::Music,
    print::{self, BETWEEN_LINES, Paper, StaffSize},
    system::{MusicLine, courtesy},
};
use endpin_theory::{Chart, Ticks};
use endpin_walker::{Hand, Options, Plan, Walker};
use rand::{RngExt, SeedableRng, seq::IndexedRandom};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::{ops::Range, sync::LazyLock};

const CHARTS: u64 = 1000;
/// Margins of paper in millimetres, and how far the bracket of tablature reaches into the left one.
const MARGIN: f64 = 15.0;
const BRACKET: f64 = 2.0;
/// How far a beam that slants in a stretched bar may reach into the lower one.
const SLANT: f64 = 2.0;

/// A chart of one to three sections of one to nine bars, each perhaps in a meter of its own.
fn chart(rng: &mut ChaCha8Rng) -> Chart {
    let keys = ["C", "F#", "Db minor", "Bb", "E minor", "Cb", "A"];
    let meters = ["4/4", "3/4", "5/4", "12/8"];
    let beats = |meter: &str| match meter {
        "3/4" => 3,
        "5/4" => 5,
        _ => 4,
    };
    let qualities = ["7", "m7", "maj7", "m7b5", "7(b9,#11)", "6/9", "13", "dim7"];
    let roots = ["C", "F#", "Bb", "Eb", "A", "Db", "G"];
    let meter = *meters.choose(rng).unwrap();
    let mut text = format!(
        "title = \"Random\"\nkey = \"{}\"\nmeter = \"{meter}\"\ntempo = 120\nfeel = \"four\"\n",
        keys.choose(rng).unwrap()
    );
    for name in &["A", "B", "Interlude"][..rng.random_range(1..4)] {
        let own = match rng.random_range(0..3) {
            0 => *meters.choose(rng).unwrap(),
            _ => meter,
        };
        text += &format!("\n[section.{name}]\nmeter = \"{own}\"\nbars = \"|");
        for _ in 0..rng.random_range(1..10) {
            let chords = *[1, 1, 1, 2, beats(own)].choose(rng).unwrap();
            for index in 0..chords {
                let (root, quality) = (roots.choose(rng).unwrap(), qualities.choose(rng).unwrap());
                let held = beats(own) / chords + usize::from(index < beats(own) % chords);
                text += &format!(" {root}{quality}{}", " /".repeat(held - 1));
            }
            text += " |";
        }
        text += "\"\n";
    }
    Chart::parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// The music of all charts that have a line, each with its seed; walked once for all tests.
static ALL: LazyLock<Vec<(u64, Music)>> = LazyLock::new(|| {
    let seeds = (0..CHARTS).into_par_iter();
    seeds
        .filter_map(|seed| Some((seed, music(seed)?)))
        .collect()
});

/// Two choruses of a line over a random chart, and its ending; none if there is no line.
fn music(seed: u64) -> Option<Music> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chart = chart(&mut rng);
    let options = Options {
        level: rng.random_range(1..7u8).try_into().unwrap(),
        ..Options::default()
    };
    let chorus = chart.chorus();
    let walker = Walker::new(Plan::of(chorus.clone(), &options), options).ok()?;
    let lines = [walker.line(seed, 1), walker.line(seed, 2)];
    let ending = walker.ending(seed, &lines[1]);
    let played = lines.each_ref().map(|line| (&chorus, line));
    Some(Music::new(&played, Some(&ending), true, &Hand::default()))
}

/// What is shown with a chart, and how large.
fn wishes(seed: u64) -> ((Paper, StaffSize), ShownBesides) {
    let paper = [Paper::A4, Paper::Letter][(seed / 3 % 2) as usize];
    let show = ShownBesides {
        marks: seed.is_multiple_of(4),
        tablature: seed % 5 < 2,
        fingers: seed.is_multiple_of(5),
    };
    ((paper, StaffSize::ALL[(seed % 3) as usize]), show)
}

fn width((paper, size): (Paper, StaffSize)) -> f64 {
    (paper.millimetres().0 - 2.0 * MARGIN) / size.space()
}

/// Runs a law on every chart; says how many times it was put to use.
fn over_all(law: impl Fn(u64, &Music) -> usize + Sync) -> usize {
    let counts = ALL.par_iter().map(|(seed, music)| law(*seed, music));
    counts.sum()
}

/// Kinds of which one must not touch another on a page.
fn keep_apart(a: ShapeUse, b: ShapeUse) -> bool {
    use ShapeUse::{Accidental, Chord, Fret, Head, Mark, Signature, Stem, Words};
    matches!(
        (a.min(b), a.max(b)),
        (
            Signature | Head | Accidental | Stem | Chord,
            Words | Mark | Fret
        ) | (Signature | Head | Accidental | Stem, Chord)
            | (Signature, Head | Accidental | Stem)
            | (Words | Mark, Fret)
            | (Words, Mark)
    )
}

#[test]
fn nothing_touches_or_leaves_its_page() {
    let marks = over_all(|seed, music| {
        let ((paper, size), show) = wishes(seed);
        let pages = print::pages(music, "about", (paper, size), show);
        let (wide, high) = paper.millimetres();
        for (number, page) in (1..).zip(&pages) {
            let bounds = page.bounds(|_| true).unwrap();
            let edges = [bounds.left, bounds.top, bounds.right, bounds.bottom];
            let [left, top, right, bottom] = edges.map(|edge| edge * size.space());
            assert!(
                left > MARGIN - BRACKET && right < wide - MARGIN + 0.1,
                "chart {seed}, page {number}: from {left} to {right} mm"
            );
            assert!(
                top > MARGIN / 4.0 && bottom < high - MARGIN + SLANT,
                "chart {seed}, page {number}: from {top} down to {bottom} mm"
            );
            nothing_touches(seed, page);
        }
        pages.iter().map(|page| page.marks.len()).sum()
    });
    assert!(marks > 500_000, "{marks} shapes were read");
}

fn nothing_touches(seed: u64, page: &Picture) {
    let mut marks: Vec<&DrawnShape> = page.marks.iter().collect();
    marks.sort_by(|a, b| a.shape.bounds().left.total_cmp(&b.shape.bounds().left));
    for (index, a) in marks.iter().enumerate() {
        // Slanted beams are held to account bar by bar.
        if matches!(a.shape, Shape::Area(_)) {
            continue;
        }
        let bounds = a.shape.bounds();
        for b in &marks[index + 1..] {
            let other = b.shape.bounds();
            if other.left >= bounds.right {
                break;
            }
            let is_beam = matches!(b.shape, Shape::Area(_));
            assert!(
                is_beam || !keep_apart(a.kind, b.kind) || !bounds.overlaps(other),
                "chart {seed}: {a:?} touches {b:?}"
            );
        }
    }
}

/// What the bars of a line need, and what they have.
fn need_and_room(music: &Music, line: Range<usize>, wide: f64, show: ShownBesides) -> (f64, f64) {
    let head = signature::head(music.measures[line.start].key.signature()).width;
    let after = courtesy(music, line.end).map_or(0.0, |picture| picture.width);
    let bars = print::engraved(music, line, show);
    (
        bars.iter().map(EngravedBar::natural).sum(),
        wide - head - after,
    )
}

fn would_not_fit(seed: u64, music: &Music, bars: Range<usize>) {
    let (paper, show) = wishes(seed);
    let (need, room) = need_and_room(music, bars.clone(), width(paper), show);
    assert!(need > room, "chart {seed}: {bars:?} would fit on a line");
}

/// Whether two sections of several bars meet before this bar, so that a line must begin.
fn parts_sections(music: &Music, at: usize) -> bool {
    let opens = |at: usize| at >= music.measures.len() || music.measures[at].section.is_some();
    opens(at) && !opens(at - 1) && !opens(at + 1)
}

#[test]
fn no_bar_stands_alone_that_has_room_beside_another() {
    let lines = over_all(|seed, music| {
        let (paper, show) = wishes(seed);
        let wide = width(paper);
        let lines = breaks::lines(wide, music, show);
        assert_eq!(lines[0].start, 0);
        assert_eq!(lines[lines.len() - 1].end, music.measures.len());
        for pair in lines.windows(2) {
            assert_eq!(pair[0].end, pair[1].start, "chart {seed}");
        }
        for (index, line) in lines.iter().enumerate() {
            let (need, room) = need_and_room(music, line.clone(), wide, show);
            assert!(
                need <= room,
                "chart {seed}: {line:?} needs {need} of {room}"
            );
            if line.len() > 1 {
                continue;
            }
            // A line of two would leave the other one alone.
            let can_spare = |other: &&Range<usize>| other.len() != 2;
            if index > 0
                && !parts_sections(music, line.start)
                && Some(&lines[index - 1]).filter(can_spare).is_some()
            {
                would_not_fit(seed, music, line.start - 1..line.end);
            }
            if let Some(next) = lines.get(index + 1).filter(can_spare)
                && !parts_sections(music, next.start)
            {
                would_not_fit(seed, music, line.start..line.end + 1);
            }
        }
        lines.len()
    });
    assert!(lines > 4000, "{lines} lines were read");
}

#[test]
fn lines_reach_the_margin_and_end_with_courtesy_signatures() {
    let courtesies = over_all(|seed, music| {
        let (paper, show) = wishes(seed);
        let wide = width(paper);
        let mut courtesies = 0;
        for line in breaks::lines(wide, music, show) {
            let picture = MusicLine::new(music, line.clone(), show).draw(wide);
            let right = picture
                .bounds(|kind| kind == ShapeUse::Staff)
                .unwrap()
                .right;
            let ends =
                line.end == music.measures.len() || music.measures[line.end].section.is_some();
            if !ends || line.len() >= 4 {
                assert!(
                    (right - wide).abs() < 0.3,
                    "chart {seed}: {line:?} ends at {right}"
                );
            }
            assert!(right < wide + 0.3, "chart {seed}: {line:?} ends at {right}");
            // Signatures after the last bar line.
            let last = picture
                .marks
                .iter()
                .filter(|mark| mark.kind == ShapeUse::Barline)
                .map(|mark| mark.shape.bounds().right)
                .fold(0.0, f64::max);
            let after = picture
                .marks
                .iter()
                .filter(|mark| mark.kind == ShapeUse::Signature && mark.shape.bounds().left > last);
            let changes = line.end < music.measures.len()
                && music.measures[line.end - 1].meter != music.measures[line.end].meter;
            let digits = match changes {
                true => signature::time(&music.measures[line.end].meter).marks.len(),
                false => 0,
            };
            assert_eq!(after.count(), digits, "chart {seed}: {line:?}");
            courtesies += usize::from(changes);
        }
        courtesies
    });
    assert!(
        courtesies > 300,
        "{courtesies} courtesy signatures were seen"
    );
}

#[test]
fn longer_notes_have_more_room() {
    let pairs = over_all(|seed, music| {
        let show = ShownBesides::default();
        let mut pairs = 0;
        for bar in print::engraved(music, 0..music.measures.len(), show) {
            // Signs and chord symbols ask for room of their own.
            let measure = bar.measure();
            let signs = measure
                .events
                .iter()
                .filter_map(|event| event.note.as_ref()?.sign);
            if measure.chords.len() > 1 || signs.count() > 0 {
                continue;
            }
            for stretch in [1.0, 1.3, 2.0] {
                let places = bar.places(bar.natural() * stretch);
                let gaps: Vec<(Ticks, f64)> = places
                    .windows(2)
                    .map(|pair| (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1))
                    .collect();
                // The last one ends at the bar line.
                for a in &gaps[..gaps.len() - 1] {
                    for b in &gaps[..gaps.len() - 1] {
                        // Columns stand on quarters of a space.
                        assert!(
                            a.0 <= b.0 || a.1 >= b.1 - 0.51,
                            "chart {seed}, bar {}: {gaps:?}",
                            measure.number
                        );
                        pairs += usize::from(a.0 > b.0);
                    }
                }
            }
        }
        pairs
    });
    assert!(pairs > 1000, "{pairs} pairs were compared");
}

#[test]
fn pages_are_filled() {
    let pages = over_all(|seed, music| {
        let ((paper, size), show) = wishes(seed);
        let pages = print::pages(music, "about", (paper, size), show);
        let high = paper.millimetres().1 / size.space();
        let line = breaks::lines(width((paper, size)), music, show)
            .into_iter()
            .map(|line| MusicLine::new(music, line, show).height() + BETWEEN_LINES)
            .fold(0.0, f64::max);
        for page in &pages[..pages.len() - 1] {
            let bottom = page.bounds(|_| true).unwrap().bottom;
            // A page may turn early at the end of a section, and stays two thirds full.
            let empty = (high - MARGIN / size.space() - bottom) / high;
            assert!(
                empty < 0.34 || empty * high < line,
                "chart {seed}: {empty} of a page is empty"
            );
        }
        pages.len() - 1
    });
    assert!(pages > 500, "{pages} pages were read");
}
