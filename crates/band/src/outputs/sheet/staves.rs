//! Staves on a page for the screen: each bar a picture, four in a line, two on a narrow screen.

use super::{
    engrave::{Levels, ShownBesides, bar::EngravedBar, glyph::Glyph, ink::Picture, signature},
    measure::{Measure, Music},
    print::engraved,
    spoken,
    svg::{self, Lettering, number},
    xml::legal,
};
use base64::{Engine, engine::general_purpose::STANDARD};
use quick_xml::escape::escape;
use serde::Serialize;
use std::ops::Range;

/// The style of staves; a page's own follows it.
pub const STYLE: &str = include_str!("staves.css");

/// Bars of a line; a narrow screen breaks it in the middle.
const BARS: usize = 4;
/// The least width of a bar in staff spaces, so that a simple line is not drawn too large.
const LEAST: f64 = 15.0;
/// Bars wider than this stand alone on a narrow screen: on one of 360 pixels, figures keep an em of 12 or so.
const WIDE: f64 = 20.0;
const SHOW: ShownBesides = ShownBesides {
    marks: true,
    tablature: false,
    fingers: false,
};

/// Sizes that all the music of a page shares, so that nothing jumps when other music is shown.
#[derive(Serialize)]
pub struct Staves {
    /// Width of the head of a line, in staff spaces.
    pub head: f64,
    /// Width of a bar.
    pub bar: f64,
    /// Whether a narrow screen shows one bar in a line, since two would be too small to read.
    pub wide: bool,
    #[serde(skip)]
    levels: Levels,
}

/// What a page puts around a bar: given its number from 0, its words as an attribute, and its picture.
pub type AroundBar<'a> = &'a dyn Fn(usize, &str, &str) -> String;
/// What a page puts below a line of these bars.
pub type BelowLine<'a> = &'a dyn Fn(Range<usize>) -> String;

impl Staves {
    /// Sizes that fit all of this music.
    pub fn of(music: &[Music]) -> Staves {
        let bars: Vec<EngravedBar> = music.iter().flat_map(bars_of).collect();
        let measures = music.iter().flat_map(|music| &music.measures);
        let heads = measures.map(|measure| signature::head(measure.key.signature()).width);
        let bar = bars.iter().map(EngravedBar::natural).fold(LEAST, f64::max);
        Staves {
            head: heads.fold(0.0, f64::max),
            bar,
            wide: bar > WIDE,
            levels: Levels::of(&bars, SHOW),
        }
    }

    /// The staves of some music inside their element, with an optional `id`.
    pub fn within(&self, id: &str, html: &str) -> String {
        let (head, bar) = (number(self.head), number(self.bar));
        let id = match id {
            "" => String::new(),
            id => format!(" id=\"{id}\""),
        };
        let class = if self.wide { "music wide" } else { "music" };
        format!("<div{id} class=\"{class}\" style=\"--head:{head};--bar:{bar}\">{html}</div>")
    }

    /// Lines of four bars, with a heading at each section.
    pub fn html(&self, music: &Music, around: AroundBar<'_>, below: BelowLine<'_>) -> String {
        let bars = bars_of(music);
        let opens = |bar: &EngravedBar| bar.measure().section.is_some() || bar.measure().is_ending;
        let mut html = String::new();
        let mut first = 0;
        while first < bars.len() {
            let more = bars[first + 1..]
                .iter()
                .take(BARS - 1)
                .take_while(|bar| !opens(bar));
            let end = first + 1 + more.count();
            if let Some(section) = &bars[first].measure().section {
                html.push_str(&format!("<h3>{}</h3>", escape(legal(section))));
            }
            html.push_str("<div class=\"line\">");
            for half in (first..end).step_by(BARS / 2) {
                html.push_str("<div class=\"half\">");
                html.push_str(&self.head_html(bars[half].measure(), half > first));
                let of_half = half..end.min(half + BARS / 2);
                for (bar, index) in bars[of_half.clone()].iter().zip(of_half) {
                    let words = spoken::bar(music, bar.measure());
                    let picture = self.staff_svg(&bar.draw(self.bar, &self.levels));
                    html.push_str(&around(index, &escape(&words), &picture));
                }
                html.push_str("</div>");
            }
            html.push_str("</div>");
            html.push_str(&below(first..end));
            first = end;
        }
        html
    }

    fn head_html(&self, measure: &Measure, narrow: bool) -> String {
        let mut head = signature::head(measure.key.signature());
        let start = head.width;
        head.width = self.head;
        let mut staff = Picture {
            width: self.head - start,
            ..Picture::default()
        };
        signature::lines(&mut staff, 5, 1.0);
        head.place(staff, start, 0.0);
        let class = if narrow { "head narrow" } else { "head" };
        let staff = self.staff_svg(&head);
        format!("<div class=\"{class}\">{staff}</div>")
    }

    fn staff_svg(&self, picture: &Picture) -> String {
        let (top, height) = (self.levels.top, self.levels.bottom - self.levels.top);
        let view = [0.0, top, picture.width, height].map(number).join(" ");
        let body = svg::body(picture, Lettering::Text);
        format!("<svg class=\"staff\" viewBox=\"{view}\" aria-hidden=\"true\">{body}</svg>")
    }
}

/// The bars of some music with their marks.
pub fn bars_of(music: &Music) -> Vec<EngravedBar<'_>> {
    engraved(music, 0..music.measures.len(), SHOW)
}

/// The signs that all staves of a page use.
pub fn signs() -> String {
    let signs = svg::signs(Glyph::ALL.into_iter());
    format!("<svg width=\"0\" height=\"0\" aria-hidden=\"true\" class=\"signs\">{signs}</svg>")
}

/// The typeface, inside the page: the files of [`Face`](super::engrave::font::Face), compressed for the web.
pub fn fonts() -> String {
    let files: [(u32, &[u8]); 2] = [
        (400, include_bytes!("assets/text-regular.woff2")),
        (600, include_bytes!("assets/text-semibold.woff2")),
    ];
    let face = |(weight, file): (u32, &[u8])| {
        let file = STANDARD.encode(file);
        format!(
            "@font-face{{font-family:Literata;font-weight:{weight};src:url(data:font/woff2;base64,{file})}}\n"
        )
    };
    files.map(face).concat()
}
