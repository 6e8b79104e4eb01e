//! The layers of DEVELOPERS.md: each module of the library uses only itself and those above it in the table.

use std::fs;
use std::path::Path;

fn layers() -> Vec<String> {
    let text = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md")).unwrap();
    let table = text
        .split("## Layers")
        .nth(1)
        .and_then(|rest| rest.split("##").next())
        .unwrap();
    let names = |row: &str| {
        let cell = row.split('|').nth(1).unwrap_or_default();
        cell.split('`')
            .skip(1)
            .step_by(2)
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    table
        .lines()
        .filter(|line| line.starts_with("| `"))
        .flat_map(names)
        .collect()
}

fn sources(folder: &Path, found: &mut Vec<std::path::PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// The top-level modules that a source names: `crate::x` and the members of `crate::{x, y::z}`.
fn used(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let code: String = text
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n");
    for part in code.split("crate::").skip(1) {
        let name = |text: &str| {
            text.chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect::<String>()
        };
        if let Some(group) = part.strip_prefix('{') {
            let (mut depth, mut member) = (0, String::new());
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => found.push(name(std::mem::take(&mut member).trim())),
                    _ if depth == 0 => member.push(c),
                    _ => {}
                }
            }
            found.push(name(member.trim()));
        } else {
            found.push(name(part));
        }
    }
    found
}

#[test]
fn every_module_uses_only_those_above_it() {
    let layers = layers();
    let rank = |name: &str| layers.iter().position(|layer| layer == name);
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 20);
    for file in files {
        let inside = file.strip_prefix(&root).unwrap();
        let module = inside
            .components()
            .next()
            .unwrap()
            .as_os_str()
            .to_str()
            .unwrap()
            .trim_end_matches(".rs")
            .to_owned();
        if module == "lib" || module == "main" {
            continue;
        }
        let own = rank(&module)
            .unwrap_or_else(|| panic!("{module} is not in the table of DEVELOPERS.md"));
        for other in used(&fs::read_to_string(&file).unwrap()) {
            let theirs =
                rank(&other).unwrap_or_else(|| panic!("{}: crate::{other}", inside.display()));
            assert!(
                theirs <= own,
                "{} uses {other}, which is below {module}",
                inside.display()
            );
        }
    }
}

#[test]
fn the_parser_of_this_test_sees_groups() {
    let text =
        "use crate::a::b;\nuse crate::{c, d::{e, f}, g};\n// crate::h\nfn x() { crate::i::j() }";
    assert_eq!(used(text), ["a", "c", "d", "g", "i"]);
}
