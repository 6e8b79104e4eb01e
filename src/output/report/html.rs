//! The report as one page of HTML: no outside requests, readable on a phone, in the dark and on paper.
//!
//! In: a document. Out: HTML with its style, its drawings and its data inside. A short script reads maps off at the place
//! that is pointed at; without it, the named places on a map say what they are, and the tables say the rest.

mod maps;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::document::{Block, Document, Drawing, Picture, Table, Text};
use super::words;
use crate::units::System;

/// A name of more letters than this gets a column that holds several words.
const LONG: usize = 12;

const STYLE: &str = include_str!("html/report.css");
const SCRIPT: &str = include_str!("html/read_out.js");

/// The page.
pub fn html(document: &Document, units: System) -> String {
    let mut drawn = 0;
    let mut parts = Vec::new();
    let blocks: Vec<Markup> = document
        .blocks
        .iter()
        .map(|block| self::block(document, block, &mut drawn, &mut parts, units))
        .collect();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (document.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    @for (number, block) in blocks.iter().enumerate() {
                        (block)
                        @if number == 0 && parts.len() > 1 { (contents(&parts)) }
                    }
                }
                @for (number, reading) in document.readings.iter().enumerate() {
                    script type="application/json" id={ "reading-" (number) } {
                        (PreEscaped(maps::data(reading, units)))
                    }
                }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    page.into_string() + "\n"
}

/// Links to the parts.
fn contents(parts: &[String]) -> Markup {
    html! {
        nav aria-label="Parts of this report" {
            ul {
                @for (number, part) in parts.iter().enumerate() {
                    li { a href={ "#part-" (number) } { (part) } }
                }
            }
        }
    }
}

fn block(
    document: &Document,
    block: &Block,
    drawn: &mut usize,
    parts: &mut Vec<String>,
    units: System,
) -> Markup {
    match block {
        Block::Heading(1, text) => html! { h1 { (text) } },
        Block::Heading(2, text) => {
            parts.push(text.clone());
            html! { h2 id={ "part-" (parts.len() - 1) } { (text) } }
        }
        Block::Heading(_, text) => html! { h3 { (text) } },
        Block::Paragraph(text) => html! { p { (self::text(text)) } },
        Block::Notice(text) => html! { p.notice { (self::text(text)) } },
        Block::List(points) => html! {
            ul { @for point in points { li { (self::text(point)) } } }
        },
        Block::Facts(facts) => html! {
            dl { @for [name, fact] in facts { div { dt { (name) } dd { (fact) } } } }
        },
        Block::Table(table) => self::table(table),
        Block::Picture(picture) => {
            *drawn += 1;
            self::picture(document, picture, *drawn, units)
        }
        Block::Signatures(lines) => html! {
            div.signatures { @for line in lines { p { (line) } } }
        },
        Block::NewPage => html! { hr; },
    }
}

fn text(text: &Text) -> Markup {
    html! {
        @if !text.lead.is_empty() { strong { (text.lead) } }
        @if !text.lead.is_empty() && !text.text.is_empty() { " " }
        (text.text)
    }
}

fn table(table: &Table) -> Markup {
    let figures = |number: usize| {
        let column = table.columns.get(number);
        column
            .is_some_and(|column| column.figures)
            .then_some("figures")
    };
    html! {
        div.table tabindex="0" {
            table {
                caption { span { (table.caption) } }
                thead {
                    tr {
                        @for (number, column) in table.columns.iter().enumerate() {
                            th scope="col" class=[figures(number)] { (column.head) }
                        }
                    }
                }
                tbody {
                    @for row in &table.rows {
                        tr {
                            @for (number, cell) in row.iter().enumerate() {
                                @if number == 0 {
                                    th.long[cell.lead.len() + cell.text.len() > LONG] scope="row" { (text(cell)) }
                                } @else {
                                    td class=[figures(number)] { (text(cell)) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn picture(document: &Document, picture: &Picture, number: usize, units: System) -> Markup {
    match &picture.drawing {
        Drawing::Chart(svg) => html! {
            figure {
                div.sheet tabindex="0" { (PreEscaped(maps::with_own_names(svg, number))) }
                figcaption { (picture.caption) }
            }
        },
        Drawing::Map { map, reading } => {
            let places = document
                .readings
                .get(*reading)
                .map_or(&[][..], |found| &found.places);
            let numbers = |numbers: &[f64]| {
                let numbers: Vec<String> = numbers
                    .iter()
                    .map(|number| format!("{number:.5}"))
                    .collect();
                numbers.join(" ")
            };
            html! {
                figure.map data-reading=(reading) data-frame=(numbers(&map.frame))
                    data-low=(numbers(&map.low)) data-high=(numbers(&map.high)) {
                    div.sheet tabindex="0" {
                        (PreEscaped(maps::with_places(map, places, number, units)))
                    }
                    p.read-out aria-live="polite" { (words::HOVER) }
                    figcaption { (picture.caption) }
                }
            }
        }
    }
}
