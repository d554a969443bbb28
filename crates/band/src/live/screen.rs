//! The screen: one page of plain type. The chart as a grid, the place we are at in reverse, the
//! chord that sounds and the one to come in large letters, and little else.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use tui_big_text::{BigText, PixelSize};

use super::control::HELP;
use super::play_view::PlayView;

/// Bars to a row of the grid.
const ROW: usize = 4;
/// Columns that the names of sections take at the left.
const MARGIN: u16 = 8;

/// How things look: by weight alone, or with one colour too where colour is welcome.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    quiet: Style,
    strong: Style,
    here: Style,
}

impl Look {
    /// With or without colour (<https://no-color.org>: none when NO_COLOR is set and not empty).
    pub fn new(colour: bool) -> Look {
        let strong = Style::new().add_modifier(Modifier::BOLD);
        Look {
            quiet: Style::new().add_modifier(Modifier::DIM),
            strong: if colour { strong.yellow() } else { strong },
            here: Style::new().add_modifier(Modifier::REVERSED),
        }
    }

    /// As the environment asks.
    pub fn from_environment() -> Look {
        Look::new(std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()))
    }
}

/// Draws a moment; before the first beat there is only a line that says so.
pub fn draw(frame: &mut Frame, view: Option<&PlayView>, look: Look, waiting: &str) {
    let page = frame.area();
    let Some(view) = view else {
        frame.render_widget(Paragraph::new(waiting).style(look.quiet), page);
        return;
    };
    let rows = view.passage.bars.len().div_ceil(ROW) as u16;
    let [head, _, grid, _, chords, bass, marks, notice, help] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Length(1),
        Constraint::Max(rows),
        Constraint::Max(1),
        Constraint::Length(5),
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Length(1),
        Constraint::Max(2),
    ])
    .areas(page);
    draw_head(frame, head, view, look);
    draw_grid(frame, grid, view, look);
    draw_chords(frame, chords, view, look);
    draw_bass(frame, bass, view, look);
    draw_marks(frame, marks, view, look);
    let words = notices(view).join("   ");
    frame.render_widget(Paragraph::new(words).style(look.strong), notice);
    draw_help(frame, help, look);
}

/// A line with something at each end.
fn spread(left: Vec<Span<'static>>, right: Vec<Span<'static>>, width: u16) -> Line<'static> {
    let taken: usize = left.iter().chain(&right).map(Span::width).sum();
    let gap = usize::from(width).saturating_sub(taken).max(1);
    let mut spans = left;
    spans.push(Span::raw(" ".repeat(gap)));
    spans.extend(right);
    Line::from(spans)
}

fn draw_head(frame: &mut Frame, area: Rect, view: &PlayView, look: Look) {
    let facts = format!(
        "{}   {:.0} a minute   level {}   seed {}",
        view.passage.key,
        view.tempo(),
        view.settings.level,
        view.settings.seed
    );
    let (beat, beats) = view.beat_of();
    let mut count = vec![Span::styled(format!("bar {}   ", view.bar()), look.strong)];
    for number in 1..=beats {
        let style = if number == beat {
            look.here
        } else {
            look.quiet
        };
        count.push(Span::styled(format!(" {number} "), style));
    }
    let title = vec![Span::styled(view.title.clone(), look.strong)];
    let place = vec![Span::raw(view.place())];
    let lines = vec![
        spread(title, vec![Span::raw(facts)], area.width),
        spread(place, count, area.width),
    ];
    frame.render_widget(Paragraph::new(lines), area);
}

fn draw_grid(frame: &mut Frame, area: Rect, view: &PlayView, look: Look) {
    let passage = &view.passage;
    let here = passage.beats[view.beat].bar;
    let cell = (area.width.saturating_sub(MARGIN) / ROW as u16).max(4);
    let rows = passage.bars.len().div_ceil(ROW);
    // Scrolls so that the row we are in and the one after it are seen.
    let shown = usize::from(area.height).max(1);
    let first = (here / ROW + 2)
        .saturating_sub(shown)
        .min(rows.saturating_sub(shown));
    let mut lines = Vec::new();
    for row in first..rows.min(first + shown) {
        let bars = row * ROW..passage.bars.len().min((row + 1) * ROW);
        let opening = passage
            .sections
            .iter()
            .filter(|section| bars.contains(&section.first_bar));
        let names: Vec<&str> = opening.map(|section| section.name.as_str()).collect();
        let mut spans = vec![Span::styled(fit(&names.join(" "), MARGIN), look.strong)];
        for bar in bars {
            let text = fit(&format!(" {}", passage.bars[bar].chords), cell - 1);
            let style = if bar == here { look.here } else { Style::new() };
            spans.extend([Span::styled("│", look.quiet), Span::styled(text, style)]);
        }
        lines.push(Line::from(spans));
    }
    frame.render_widget(Paragraph::new(lines), area);
}

/// The text at exactly this width, cut where it is longer.
fn fit(text: &str, width: u16) -> String {
    let width = usize::from(width);
    let cut: String = match text.chars().count() > width {
        true => text
            .chars()
            .take(width.saturating_sub(1))
            .chain(['…'])
            .take(width)
            .collect(),
        false => text.into(),
    };
    format!("{cut:width$}")
}

fn draw_chords(frame: &mut Frame, area: Rect, view: &PlayView, look: Look) {
    let halves = Layout::horizontal([Constraint::Percentage(50), Constraint::Percentage(50)]);
    let [left, right] = halves.areas(area);
    for (area, word, chord, style) in [
        (left, "now", Some(view.now()), look.strong),
        (right, "next", view.next(), look.quiet),
    ] {
        let [label, large] =
            Layout::vertical([Constraint::Length(1), Constraint::Min(0)]).areas(area);
        frame.render_widget(Paragraph::new(word).style(look.quiet), label);
        let chord = chord.unwrap_or("end").to_string();
        // A letter takes four columns at this size; a chord that is too long is set small.
        if chord.chars().count() * 4 > usize::from(large.width) || large.height < 4 {
            frame.render_widget(Paragraph::new(chord).style(style), large);
            continue;
        }
        let text = BigText::builder()
            .pixel_size(PixelSize::Quadrant)
            .style(style)
            .lines([Line::from(chord)])
            .build();
        frame.render_widget(text, large);
    }
}

fn draw_bass(frame: &mut Frame, area: Rect, view: &PlayView, look: Look) {
    let mut spans = vec![Span::styled("bass  ", look.quiet)];
    match view.bass() {
        Some((note, role)) => spans.extend([
            Span::styled(note.to_string(), look.strong),
            Span::raw(format!("  {role}")),
        ]),
        None => spans.push(Span::raw("rests")),
    }
    frame.render_widget(Paragraph::new(Line::from(spans)), area);
}

fn draw_marks(frame: &mut Frame, area: Rect, view: &PlayView, look: Look) {
    let width = area.width.saturating_sub(MARGIN);
    let mark = |word: &str, share: f64| {
        let done = (f64::from(width) * share).round() as usize;
        Line::from(vec![
            Span::raw(fit(word, MARGIN)),
            Span::styled("━".repeat(done), look.strong),
            Span::styled(
                "─".repeat(usize::from(width).saturating_sub(done)),
                look.quiet,
            ),
        ])
    };
    let lines = vec![
        mark("chorus", view.progress()),
        mark(view.section(), view.section_progress()),
    ];
    frame.render_widget(Paragraph::new(lines), area);
}

fn notices(view: &PlayView) -> Vec<String> {
    let settings = &view.settings;
    let mut words = Vec::new();
    if settings.paused {
        words.push("paused".to_string());
    }
    let muted: Vec<String> = view
        .muted()
        .iter()
        .map(|part| part.to_string().to_lowercase())
        .collect();
    if !muted.is_empty() {
        words.push(format!("muted: {}", muted.join(", ")));
    }
    if settings.looping {
        words.push("looping this section".into());
    }
    if settings.ending {
        words.push("ends after this chorus".into());
    }
    if settings.transpose != 0 {
        words.push(format!("transposed {:+}", settings.transpose));
    }
    words.extend(settings.notice.clone());
    words
}

fn draw_help(frame: &mut Frame, area: Rect, look: Look) {
    let mut lines = vec![Vec::new()];
    let mut column = 0;
    for (key, word) in HELP {
        let width = key.len() + word.len() + 3;
        if column + width > usize::from(area.width) {
            lines.push(Vec::new());
            column = 0;
        }
        column += width;
        let spans = [
            Span::raw(*key),
            Span::styled(format!(" {word}  "), look.quiet),
        ];
        if let Some(line) = lines.last_mut() {
            line.extend(spans);
        }
    }
    let lines: Vec<Line> = lines.into_iter().map(Line::from).collect();
    frame.render_widget(Paragraph::new(lines), area);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::passage::{Passage, PassageBar, PassageBeat, PassageSection};
    use crate::live::passage_supply::PassageKind;
    use crate::live::play_status::PlaySettings;
    use endpin_theory::Ticks;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn view(bars: usize, beat: usize) -> PlayView {
        let mut passage = Passage {
            key: "F".into(),
            sections: vec![
                PassageSection {
                    name: "A".into(),
                    first_bar: 0,
                },
                PassageSection {
                    name: "B".into(),
                    first_bar: bars / 2,
                },
            ],
            ..Passage::default()
        };
        for bar in 0..bars {
            let chord = ["F7", "Bb7", "Am7b5", "D7b9"][bar % 4];
            passage.bars.push(PassageBar {
                number: bar as u32 + 1,
                section: usize::from(bar >= bars / 2),
                first_beat: bar * 4,
                tempo: 138.0,
                chords: chord.into(),
            });
            for _ in 0..4 {
                passage.beats.push(PassageBeat {
                    start: Ticks(passage.beats.len() as i64 * 960),
                    bar,
                    chord: chord.into(),
                    bass: Some(("A2".into(), "third".into())),
                });
            }
        }
        passage.end = Ticks(passage.beats.len() as i64 * 960);
        PlayView {
            title: "Breakwater Blues".into(),
            passage: passage.into(),
            beat,
            kind: PassageKind::Chorus,
            chorus: 2,
            choruses: Some(3),
            settings: PlaySettings {
                ending: true,
                ..PlaySettings::at_first(4, 7, [false, true, false])
            },
        }
    }

    fn page(view: Option<&PlayView>, width: u16, height: u16) -> Vec<String> {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        let draw_page = |frame: &mut Frame| draw(frame, view, Look::new(false), "waiting");
        terminal.draw(draw_page).unwrap();
        let buffer = terminal.backend().buffer();
        let row = |y| {
            (0..width)
                .map(|x| buffer[(x, y)].symbol())
                .collect::<String>()
        };
        (0..height).map(|y| row(y).trim_end().to_string()).collect()
    }

    #[test]
    fn everything_is_on_a_page_of_80_by_24() {
        let page = page(Some(&view(32, 64 + 5)), 80, 24);
        let text = page.join("\n");
        for wanted in [
            "Breakwater Blues",
            "F   138 a minute   level 4   seed 7",
            "chorus 2 of 3",
            "bar 18    1  2  3  4",
            "B       │ F7",
            "now",
            "next",
            "bass  A2  third",
            "muted: comp   ends after this chorus",
            "space pause",
            "q quit",
        ] {
            assert!(text.contains(wanted), "{wanted:?} is not in\n{text}");
        }
        assert_eq!(
            page.iter().filter(|row| row.contains('│')).count(),
            8,
            "the whole form\n{text}"
        );
        let done = |row: &str| row.chars().filter(|c| *c == '━').count();
        let marks: Vec<usize> = page
            .iter()
            .filter(|row| row.contains('━'))
            .map(|row| done(row))
            .collect();
        assert_eq!(
            marks,
            [39, 6],
            "69 of 128 beats, and 5 of 64, of 72 columns\n{text}"
        );
    }

    #[test]
    fn any_size_can_be_drawn_and_long_forms_scroll() {
        for (width, height) in [(1, 1), (10, 3), (40, 12), (80, 24), (200, 60)] {
            for beat in [0, 300, 511] {
                page(Some(&view(128, beat)), width, height);
            }
            page(None, width, height);
        }
        let page = page(Some(&view(128, 511)), 80, 24);
        assert!(page.join("\n").contains("bar 128"));
        // The last row of the grid is shown, with the bar we are in.
        assert!(page.iter().any(|row| row.contains("D7b9")));
    }

    #[test]
    fn the_line_of_text_tells_the_bar() {
        assert_eq!(view(32, 69).line(), "chorus 2 of 3, B bar 18: Bb7");
        let mut last = view(4, 15);
        assert_eq!((last.now(), last.next()), ("D7b9", Some("F7")));
        last.kind = PassageKind::Ending;
        assert_eq!(last.next(), None);
    }
}
