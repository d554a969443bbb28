//! What pages have in common: a head that lets nothing in, text made safe, templates filled.

use super::{origin::mark, sheet::staves};
use crate::failure::printable;

/// Colours, type, controls and print of every page.
const SHARED: &str = include_str!("html.css");

/// The head of a page that loads nothing: its styles, scripts and fonts stand in it. The title is escaped already;
/// `chart` is the title of the chart it was made from; `style` is what this page has besides the others'.
pub fn head(title: &str, chart: &str, style: &str) -> String {
    let (origin, fonts) = (mark(chart), staves::fonts());
    format!(
        r#"<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; font-src data:">
<meta name="generator" content="{origin}">
<title>{title}</title>
<style>
{fonts}{SHARED}{style}</style>
</head>"#
    )
}

/// Text made safe for elements and for quoted attributes.
pub fn escaped(text: &str) -> String {
    printable(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}

/// Fills each `{{name}}` of a template once, from left to right, so that no text that is filled in can hold
/// a place itself.
pub fn filled(template: &str, fill: impl Fn(&str) -> String) -> String {
    let mut parts = template.split("{{");
    let mut page = parts.next().unwrap_or("").to_owned();
    for part in parts {
        let (name, rest) = part.split_once("}}").unwrap_or((part, ""));
        page.push_str(&fill(name));
        page.push_str(rest);
    }
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_never_become_markup() {
        assert_eq!(escaped("two\nlines"), "two\nlines");
        assert_eq!(
            escaped("<b title='x'>\"&\"\u{7}"),
            "&lt;b title=&#39;x&#39;&gt;&quot;&amp;&quot; "
        );
    }

    #[test]
    fn what_is_filled_in_is_never_filled_again() {
        let page = filled("<h1>{{title}}</h1>{{x}}", |name| match name {
            "title" => "{{x}}".to_owned(),
            _ => "script".to_owned(),
        });
        assert_eq!(page, "<h1>{{x}}</h1>script");
    }
}
