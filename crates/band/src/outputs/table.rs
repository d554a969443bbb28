//! Plain text laid out in columns.

use crate::failure::printable;
use std::fmt;

/// Rows of cells in columns just wide enough, each row with a remark under it if it has one.
#[derive(Debug)]
pub struct Table {
    rows: Vec<(Vec<String>, Option<String>)>,
}

impl Table {
    /// A table with these column heads.
    pub fn new(heads: &[&str]) -> Table {
        let heads = heads.iter().map(ToString::to_string).collect();
        Table {
            rows: vec![(heads, None)],
        }
    }

    /// Adds a row; it may be shorter than the heads.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        let cells = cells.iter().map(|cell| printable(cell)).collect();
        self.rows.push((cells, None));
    }

    /// Puts a remark under the last row.
    pub fn note(&mut self, remark: &str) {
        if let Some((_, note)) = self.rows.last_mut() {
            *note = Some(printable(remark));
        }
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let columns = self
            .rows
            .iter()
            .map(|(cells, _)| cells.len())
            .max()
            .unwrap_or(0);
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|(cells, _)| cells.get(column));
            cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        for (cells, note) in &self.rows {
            let mut line = String::new();
            for (cell, width) in cells.iter().zip(&widths) {
                line.push_str(&format!("{cell:<width$}  "));
            }
            writeln!(f, "{}", line.trim_end())?;
            if let Some(note) = note {
                writeln!(
                    f,
                    "{:indent$}{note}",
                    "",
                    indent = widths[0] + widths.get(1).unwrap_or(&0) + 4
                )?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::Table;

    #[test]
    fn columns_fit_their_widest_cell() {
        let mut table = Table::new(&["bar", "chord"]);
        table.row(["1".into(), "Bbm7".into()]);
        table.note("why");
        table.row(["12".into()]);
        assert_eq!(
            table.to_string(),
            "bar  chord\n1    Bbm7\n            why\n12\n"
        );
    }
}
