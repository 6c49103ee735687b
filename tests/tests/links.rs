//! Every relative link and every anchor in the repository's Markdown files leads somewhere, and every
//! page of the hardware notes leads back to the dangers.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Component, Path, PathBuf};

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// What is not ours: what building and installing leave behind.
const NOT_OURS: [&str; 3] = ["target", "node_modules", ".git"];

/// The Markdown files below a folder, by their way from the top.
fn pages(folder: &Path, found: &mut BTreeMap<PathBuf, Page>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let entry = entry.expect("an entry");
        let (path, name) = (entry.path(), entry.file_name());
        if entry.file_type().expect("a type").is_dir() {
            if !NOT_OURS.iter().any(|other| name == *other) {
                pages(&path, found);
            }
        } else if path.extension().is_some_and(|extension| extension == "md") {
            let way = path.strip_prefix(top()).expect("below the top").to_owned();
            let text = std::fs::read_to_string(&path).expect("text");
            found.insert(way, Page::read(&text));
        }
    }
}

/// What a page offers and what it wants.
#[derive(Default)]
struct Page {
    anchors: BTreeSet<String>,
    links: Vec<String>,
}

impl Page {
    fn read(text: &str) -> Self {
        let mut page = Self::default();
        let mut heading: Option<String> = None;
        let options = Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH;
        for event in Parser::new_ext(text, options) {
            match event {
                Event::Start(Tag::Heading { .. }) => heading = Some(String::new()),
                Event::Text(text) | Event::Code(text) => {
                    if let Some(heading) = &mut heading {
                        heading.push_str(&text);
                    }
                }
                Event::End(TagEnd::Heading(_)) => {
                    let anchor = anchor_of(&heading.take().unwrap_or_default());
                    let again = (1..).map(|count| format!("{anchor}-{count}"));
                    let free = std::iter::once(anchor.clone())
                        .chain(again)
                        .find(|name| !page.anchors.contains(name));
                    page.anchors.extend(free);
                }
                Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => {
                    page.links.push(dest_url.into_string());
                }
                _ => {}
            }
        }
        page
    }
}

/// How readers of Markdown on the web make an anchor of a heading: small letters, no marks, spaces as hyphens
/// (common practice; from memory).
fn anchor_of(heading: &str) -> String {
    heading
        .to_lowercase()
        .chars()
        .filter(|letter| letter.is_alphanumeric() || [' ', '-', '_'].contains(letter))
        .map(|letter| if letter == ' ' { '-' } else { letter })
        .collect()
}

/// The way from the top to what a link names, seen from its page.
fn resolved(page: &Path, link: &str) -> PathBuf {
    let mut way = page.parent().unwrap_or(Path::new("")).to_owned();
    for part in Path::new(link).components() {
        match part {
            Component::ParentDir => {
                way.pop();
            }
            Component::Normal(name) => way.push(name),
            _ => {}
        }
    }
    way
}

/// What is wrong with a page's links.
fn dead(way: &Path, pages: &BTreeMap<PathBuf, Page>) -> Vec<String> {
    let mut dead = Vec::new();
    for link in &pages[way].links {
        if link.contains("://") || link.starts_with("mailto:") {
            continue;
        }
        let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
        let target = if file.is_empty() {
            way.to_owned()
        } else {
            resolved(way, file)
        };
        if !top().join(&target).exists() {
            dead.push(format!("{}: {link}: no such file", way.display()));
        } else if !anchor.is_empty() {
            let there = pages
                .get(&target)
                .is_some_and(|page| page.anchors.contains(anchor));
            if !there {
                dead.push(format!("{}: {link}: no such heading", way.display()));
            }
        }
    }
    dead
}

fn all() -> BTreeMap<PathBuf, Page> {
    let mut found = BTreeMap::new();
    pages(&top(), &mut found);
    found
}

#[test]
fn every_relative_link_and_anchor_leads_somewhere() {
    let pages = all();
    assert!(pages.contains_key(Path::new("README.md")) && pages.len() > 10);
    let dead: Vec<_> = pages.keys().flat_map(|way| dead(way, &pages)).collect();
    assert!(dead.is_empty(), "{}", dead.join("\n"));
}

#[test]
fn dead_links_are_found() {
    let mut pages = all();
    let way = PathBuf::from("hardware-notes/made-up.md");
    let text = "# One, two: `three`\n\n[a](#one-two-three) [b](#four) [c](nowhere.md) \
                [d](../README.md#licence) [e](../README.md#license) [f](https://example.org/#x)";
    pages.insert(way.clone(), Page::read(text));
    // The page itself is no file: its own anchors are looked for by its name.
    let found = dead(&way, &pages);
    let names = |part: &str| found.iter().filter(|text| text.contains(part)).count();
    assert_eq!(
        (names("nowhere.md"), names("#license")),
        (1, 1),
        "{found:?}"
    );
    assert_eq!(names("#licence: "), 0, "{found:?}");
    assert!(pages[&way].anchors.contains("one-two-three"));
}

#[test]
fn every_page_of_the_hardware_notes_leads_to_the_dangers() {
    for (way, page) in &all() {
        let ours = way.starts_with("hardware-notes") && !way.ends_with("README.md");
        if ours {
            let led = page
                .links
                .iter()
                .any(|link| link == "README.md#before-anything-else");
            assert!(led, "{} does not lead to the dangers", way.display());
        }
    }
}

#[test]
fn every_drawing_is_shown() {
    let pages = all();
    let shown: BTreeSet<_> = pages
        .iter()
        .flat_map(|(way, page)| page.links.iter().map(|link| resolved(way, link)))
        .collect();
    for entry in std::fs::read_dir(top().join("hardware-notes/drawings")).expect("drawings") {
        let way = Path::new("hardware-notes/drawings").join(entry.expect("a file").file_name());
        assert!(
            shown.contains(&way),
            "{} is shown on no page",
            way.display()
        );
    }
}
