//! Small TOML files that the user writes: compound sheets, own classes, jobs. Quantities are text with their units.
//!
//! In: the text of a file. Out: its values in SI, and errors with file, line and column, what was found and what is
//! wanted. A key that is not known is an error, so that a misspelt one is not passed over.

use std::collections::BTreeMap;
use std::ops::Range;
use std::str::FromStr;

use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Error, Place, Result};
use crate::survey::Source;
use crate::units::NotAQuantity;

/// No such file is longer than this.
const LONGEST: u64 = 1 << 20;

/// Text where it stands in a file.
pub type Text = Spanned<String>;

/// A file as it is written: turns places in its text into lines, and text into quantities.
#[derive(Debug, Clone, Copy)]
pub struct Written<'a> {
    /// Its text.
    pub text: &'a str,
    /// Its name in errors.
    pub file: &'a str,
}

/// The text of a small file. `wanted` is what an error says it should be.
///
/// # Errors
/// [`Error::Read`]; [`Error::Input`] for one of more than a megabyte or that is no text.
pub fn text(source: &Source, wanted: &str) -> Result<String> {
    source.text(LONGEST, wanted)
}

impl Written<'_> {
    /// The whole file as `T`; `keys` is what an error says its keys should be.
    ///
    /// # Errors
    /// [`Error::Input`]: no TOML, or a key unknown, missing or of the wrong kind.
    pub fn parse<T: DeserializeOwned>(&self, keys: &str) -> Result<T> {
        self.tree(keys)?;
        toml::from_str(self.text).map_err(|error| self.not_toml(&error, keys))
    }

    /// The file as it is nested. No text in it has a character that a terminal would obey: names go to every output.
    fn tree(&self, wanted: &str) -> Result<Spanned<DeTable<'_>>> {
        let tree = DeTable::parse(self.text).map_err(|error| self.not_toml(&error, wanted))?;
        match tree.get_ref().values().find_map(obeyed) {
            Some(span) => Err(Error::input(
                self.place(&span),
                "a control character",
                "plain text",
            )),
            None => Ok(tree),
        }
    }

    fn not_toml(&self, error: &toml::de::Error, wanted: &str) -> Error {
        let place = match error.span() {
            Some(span) => self.place(&span),
            None => Place::file(self.file),
        };
        Error::input(place, error.message().replace('\n', ", "), wanted)
    }

    /// A quantity of any sign.
    ///
    /// # Errors
    /// [`Error::Input`] for text that is none.
    pub fn quantity<Q>(&self, value: &Text, si: impl Fn(Q) -> f64) -> Result<f64>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        let quantity = value.get_ref().parse();
        let quantity = quantity.map_err(|error: NotAQuantity| self.wrong(value, error.wanted))?;
        match si(quantity) {
            si if si.is_finite() => Ok(si),
            _ => Err(self.wrong(value, "a finite quantity")),
        }
    }

    /// A quantity of zero or more.
    ///
    /// # Errors
    /// [`Error::Input`] as [`Self::quantity`], and below zero.
    pub fn not_negative<Q>(&self, value: &Text, si: impl Fn(Q) -> f64) -> Result<f64>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        match self.quantity(value, si)? {
            si if si >= 0.0 => Ok(si),
            _ => Err(self.wrong(value, "nothing below zero")),
        }
    }

    /// A quantity above zero.
    ///
    /// # Errors
    /// [`Error::Input`] as [`Self::not_negative`], and for zero.
    pub fn positive<Q>(&self, value: &Text, si: impl Fn(Q) -> f64) -> Result<f64>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        match self.not_negative(value, si)? {
            si if si > 0.0 => Ok(si),
            _ => Err(self.wrong(value, "more than zero")),
        }
    }

    /// What stands there is not what is `wanted`.
    pub fn wrong(&self, value: &Text, wanted: impl Into<String>) -> Error {
        let found = format!("'{}'", value.get_ref());
        Error::input(self.place(&value.span()), found, wanted)
    }

    /// Line and column of a stretch of the text.
    pub fn place(&self, span: &Range<usize>) -> Place {
        Place::in_text(self.file, self.text, span.start)
    }

    /// The whole file as a table whose keys are taken out one by one.
    ///
    /// # Errors
    /// [`Error::Input`]: no TOML.
    pub fn table(&self) -> Result<Table<'_>> {
        Ok(Table::new(*self, self.tree("TOML")?))
    }
}

/// A table of a file. Keys are taken out of it, so that what is left over in the end does not belong.
pub struct Table<'a> {
    written: Written<'a>,
    span: Range<usize>,
    left: BTreeMap<String, (Range<usize>, Spanned<DeValue<'a>>)>,
    known: Vec<&'static str>,
}

impl<'a> Table<'a> {
    fn new(written: Written<'a>, table: Spanned<DeTable<'a>>) -> Self {
        let span = table.span();
        let left = table.into_inner().into_iter();
        Self {
            written,
            span,
            left: left
                .map(|(key, value)| (key.get_ref().to_string(), (key.span(), value)))
                .collect(),
            known: Vec::new(),
        }
    }

    /// The file that it stands in.
    pub fn written(&self) -> Written<'a> {
        self.written
    }

    /// Where it stands.
    pub fn place(&self) -> Place {
        self.written.place(&self.span)
    }

    fn value(&mut self, key: &'static str) -> Option<Spanned<DeValue<'a>>> {
        self.known.push(key);
        self.left.remove(key).map(|(_, value)| value)
    }

    /// Text, if it is there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is no text.
    pub fn text(&mut self, key: &'static str) -> Result<Option<Text>> {
        let value = self.value(key);
        value.map(|value| text_of(self.written, value)).transpose()
    }

    /// Text that must be there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is no text, or nothing.
    pub fn required(&mut self, key: &'static str) -> Result<Text> {
        self.text(key)?.ok_or_else(|| self.missing(key))
    }

    /// A key that must be there and is not.
    pub fn missing(&self, key: &str) -> Error {
        Error::input(
            self.place(),
            format!("no `{key}`"),
            format!("`{key} = ...`"),
        )
    }

    /// One text or a list of them; empty where it is not there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is no text.
    pub fn texts(&mut self, key: &'static str) -> Result<Vec<Text>> {
        let items = self.items(key)?.into_iter();
        items.map(|item| text_of(self.written, item)).collect()
    }

    /// A quantity of any sign, if it is there.
    ///
    /// # Errors
    /// As [`Written::quantity`].
    pub fn quantity<Q>(&mut self, key: &'static str, si: impl Fn(Q) -> f64) -> Result<Option<f64>>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        let text = self.text(key)?;
        text.map(|text| self.written.quantity(&text, si))
            .transpose()
    }

    /// A quantity above zero, if it is there.
    ///
    /// # Errors
    /// As [`Written::positive`].
    pub fn positive<Q>(&mut self, key: &'static str, si: impl Fn(Q) -> f64) -> Result<Option<f64>>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        let text = self.text(key)?;
        text.map(|text| self.written.positive(&text, si))
            .transpose()
    }

    /// One of `all`, if it is there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is none of them.
    pub fn one_of<T: Copy>(&mut self, key: &'static str, all: &[(&str, T)]) -> Result<Option<T>> {
        let Some(text) = self.text(key)? else {
            return Ok(None);
        };
        let mut known = all.iter();
        match known.find(|(name, _)| name == text.get_ref()) {
            Some((_, value)) => Ok(Some(*value)),
            None => {
                let names: Vec<_> = all.iter().map(|(name, _)| *name).collect();
                let wanted = format!("one of {}", names.join(", "));
                Err(self.written.wrong(&text, wanted))
            }
        }
    }

    /// The items of a list, which is not empty, or the one value that is none.
    fn items(&mut self, key: &'static str) -> Result<Vec<Spanned<DeValue<'a>>>> {
        let Some(value) = self.value(key) else {
            return Ok(Vec::new());
        };
        let span = value.span();
        match value.into_inner() {
            DeValue::Array(items) if items.is_empty() => {
                let place = self.written.place(&span);
                Err(Error::input(
                    place,
                    "an empty list",
                    "something in it, or no such key",
                ))
            }
            DeValue::Array(items) => Ok(items.into_iter().collect()),
            other => Ok(vec![Spanned::new(span, other)]),
        }
    }

    /// One number or a list of them, each zero or more, with their places.
    ///
    /// # Errors
    /// [`Error::Input`] for what is none.
    pub fn numbers(&mut self, key: &'static str) -> Result<Vec<Spanned<f64>>> {
        let written = self.written;
        let number = |value: Spanned<DeValue>| {
            let text = match value.get_ref() {
                DeValue::Integer(whole) if whole.radix() == 10 => whole.as_str(),
                DeValue::Float(float) => float.as_str(),
                _ => "",
            };
            match text.parse::<f64>() {
                Ok(number) if number.is_finite() && number >= 0.0 => {
                    Ok(Spanned::new(value.span(), number))
                }
                Ok(_) | Err(_) => Err(odd(written, &value, "a number of zero or more")),
            }
        };
        self.items(key)?.into_iter().map(number).collect()
    }

    /// `true` or `false`, if it is there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is neither.
    pub fn truth(&mut self, key: &'static str) -> Result<Option<bool>> {
        let Some(value) = self.value(key) else {
            return Ok(None);
        };
        match value.get_ref() {
            DeValue::Boolean(truth) => Ok(Some(*truth)),
            _ => Err(odd(self.written, &value, "true or false")),
        }
    }

    /// Pairs of text: one pair, or a list of pairs; empty where it is not there. `wanted` is what an error says.
    ///
    /// # Errors
    /// [`Error::Input`] for what is no pair.
    pub fn pairs(&mut self, key: &'static str, wanted: &str) -> Result<Vec<[Text; 2]>> {
        let written = self.written;
        let Some(value) = self.value(key) else {
            return Ok(Vec::new());
        };
        let pair = |value: Spanned<DeValue<'a>>| -> Result<[Text; 2]> {
            let fail = odd(written, &value, wanted);
            let DeValue::Array(items) = value.into_inner() else {
                return Err(fail);
            };
            let texts = items.into_iter().map(|item| text_of(written, item));
            let texts: Vec<Text> = texts.collect::<Result<_>>()?;
            texts.try_into().map_err(|_| fail)
        };
        let several = match value.get_ref() {
            DeValue::Array(items) => items.first().is_some_and(|item| item.get_ref().is_array()),
            _ => false,
        };
        if !several {
            return Ok(vec![pair(value)?]);
        }
        match value.into_inner() {
            DeValue::Array(items) => items.into_iter().map(pair).collect(),
            _ => Ok(Vec::new()),
        }
    }

    /// A table below this one, if it is there.
    ///
    /// # Errors
    /// [`Error::Input`] for what is none.
    pub fn table(&mut self, key: &'static str) -> Result<Option<Table<'a>>> {
        let value = self.value(key);
        value
            .map(|value| table_of(self.written, value, key))
            .transpose()
    }

    /// Tables below this one, written `[[key]]`; empty where there are none.
    ///
    /// # Errors
    /// [`Error::Input`] for what is none.
    pub fn tables(&mut self, key: &'static str) -> Result<Vec<Table<'a>>> {
        let items = self.items(key)?.into_iter();
        items
            .map(|item| table_of(self.written, item, key))
            .collect()
    }

    /// Nothing is left over.
    ///
    /// # Errors
    /// [`Error::Input`] with the first key that is.
    pub fn done(self) -> Result<()> {
        let first = self.left.iter().min_by_key(|(_, (at, _))| at.start);
        match first {
            Some((key, (at, _))) => {
                let wanted = format!("a key of these: {}", self.known.join(", "));
                Err(Error::input(
                    self.written.place(at),
                    format!("`{key}`"),
                    wanted,
                ))
            }
            None => Ok(()),
        }
    }
}

/// Where a text stands that has a control character, but for line ends and tabs.
fn obeyed(value: &Spanned<DeValue>) -> Option<Range<usize>> {
    match value.get_ref() {
        DeValue::String(text) => text
            .contains(|c: char| c.is_control() && !matches!(c, '\n' | '\t'))
            .then(|| value.span()),
        DeValue::Array(items) => items.iter().find_map(obeyed),
        DeValue::Table(table) => table.values().find_map(obeyed),
        DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) | DeValue::Datetime(_) => {
            None
        }
    }
}

fn text_of(written: Written, value: Spanned<DeValue>) -> Result<Text> {
    let span = value.span();
    match value.get_ref() {
        DeValue::String(text) => Ok(Spanned::new(span, text.to_string())),
        _ => Err(odd(written, &value, "text in quotes")),
    }
}

fn table_of<'a>(written: Written<'a>, value: Spanned<DeValue<'a>>, key: &str) -> Result<Table<'a>> {
    let span = value.span();
    let fail = odd(
        written,
        &value,
        &format!("[{key}] or [[{key}]] on a line of its own, and its keys below"),
    );
    match value.into_inner() {
        DeValue::Table(table) => Ok(Table::new(written, Spanned::new(span, table))),
        _ => Err(fail),
    }
}

/// A value of another kind than is `wanted`, as it stands in the file.
fn odd(written: Written, value: &Spanned<DeValue>, wanted: &str) -> Error {
    let found = written.text.get(value.span()).unwrap_or_default();
    let found = found.lines().next().unwrap_or_default();
    Error::input(written.place(&value.span()), found, wanted)
}
