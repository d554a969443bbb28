//! XML written element by element, escaped and indented.

use quick_xml::{
    Writer,
    events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event},
};

/// Attributes in order.
pub type Attributes<'a> = &'a [(&'a str, &'a str)];

/// A document in the making.
pub struct Xml(Writer<Vec<u8>>);

impl Xml {
    /// A document that starts with its declaration.
    pub fn document() -> Xml {
        let mut xml = Xml(Writer::new_with_indent(Vec::new(), b' ', 1));
        xml.put(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml
    }

    #[expect(clippy::expect_used, reason = "writing fails only where the sink does")]
    fn put(&mut self, event: Event) {
        self.0
            .write_event(event)
            .expect("a vector takes every byte");
    }

    fn start<'a>(name: &'a str, attributes: Attributes<'a>) -> BytesStart<'a> {
        let values: Vec<(&str, String)> = attributes
            .iter()
            .map(|&(key, value)| (key, legal(value)))
            .collect();
        BytesStart::new(name)
            .with_attributes(values.iter().map(|(key, value)| (*key, value.as_str())))
    }

    /// A document type, as some readers expect one.
    pub fn doctype(&mut self, text: &str) {
        self.put(Event::DocType(BytesText::from_escaped(text)));
    }

    /// An element with others inside.
    pub fn element(&mut self, name: &str, attributes: Attributes, inside: impl FnOnce(&mut Xml)) {
        self.put(Event::Start(Xml::start(name, attributes)));
        inside(self);
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element with text inside.
    pub fn text(&mut self, name: &str, text: impl ToString) {
        self.text_with(name, &[], text);
    }

    /// An element with attributes and text inside.
    pub fn text_with(&mut self, name: &str, attributes: Attributes, text: impl ToString) {
        self.put(Event::Start(Xml::start(name, attributes)));
        self.put(Event::Text(BytesText::new(&legal(&text.to_string()))));
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element with nothing inside.
    pub fn empty(&mut self, name: &str, attributes: Attributes) {
        self.put(Event::Empty(Xml::start(name, attributes)));
    }

    /// The document.
    pub fn finish(self) -> Vec<u8> {
        let mut bytes = self.0.into_inner();
        bytes.push(b'\n');
        bytes
    }
}

/// Text without the characters that XML 1.0 forbids, which become spaces.
pub fn legal(text: &str) -> String {
    let allowed = |c: char| match c {
        '\t' | '\n' | '\r' => true,
        '\u{fffe}' | '\u{ffff}' => false,
        c => c >= ' ',
    };
    text.chars()
        .map(|c| if allowed(c) { c } else { ' ' })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_never_become_markup() {
        let mut xml = Xml::document();
        xml.element("a", &[("title", "\"<b>&'\u{1}")], |xml| {
            xml.text("c", "</c><script>&\u{0}")
        });
        let text = String::from_utf8(xml.finish()).unwrap();
        assert!(
            text.contains("&lt;/c&gt;&lt;script&gt;&amp; </c>"),
            "{text}"
        );
        assert!(
            text.contains("title=\"&quot;&lt;b&gt;&amp;&apos; \""),
            "{text}"
        );
    }
}
