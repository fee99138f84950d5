//! The shape of a line: which parts are numbers, which are text.
//!
//! Lines of one shape have the same parts in the same order, whatever the numbers are and however
//! they are padded.

/// Most words kept of one place.
const WORDS_KEPT: usize = 4;

/// One part of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    /// A number; its text.
    Number(String),
    /// Letters.
    Word(String),
    /// Two hexadecimal digits behind `*`: a checksum, as many instruments send it.
    Checksum,
    /// Any other byte that is not blank.
    Sign(u8),
}

impl Part {
    fn same_kind(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Number(_), Self::Number(_)) | (Self::Word(_), Self::Word(_)) => true,
            (one, two) => one == two,
        }
    }
}

/// One place in lines of the same shape, with what stood there.
#[derive(Debug, Clone)]
struct Place {
    part: Part,
    /// Words and numbers: always the same text.
    constant: bool,
    /// Some line had blanks before it.
    blank_before: bool,
    numbers: Vec<f64>,
    /// Most digits behind the point of these.
    decimals: usize,
    /// The first few different words.
    words: Vec<String>,
}

/// The shape of some lines.
#[derive(Debug, Clone)]
pub(super) struct Shape {
    places: Vec<Place>,
    /// How many lines had it.
    pub(super) lines: usize,
    /// The word that sets them off from others of this shape.
    pub(super) label: Option<String>,
    blank_after: bool,
}

/// A column of numbers, with what stands around it.
#[derive(Debug)]
pub(super) struct Slot {
    /// The numbers in order of arrival.
    pub(super) numbers: Vec<f64>,
    /// Part of a time or date.
    pub(super) clock: bool,
    /// The words on both sides.
    pub(super) before: Option<String>,
    pub(super) after: Option<String>,
    whole: bool,
    /// Most digits behind the point.
    pub(super) decimals: usize,
}

/// Units as instruments write them, in lower case, and as a job file does.
const UNITS: [(&str, &str); 10] = [
    ("n", "N"),
    ("kn", "kN"),
    ("lbf", "lbf"),
    ("lb", "lbf"),
    ("lbs", "lbf"),
    ("kgf", "kgf"),
    ("kg", "kgf"),
    ("m", "m"),
    ("mm", "mm"),
    ("ft", "ft"),
];

/// Words beside a number that tell what it is; compared in lower case.
const LOAD_WORDS: [&str; 14] = [
    "load", "tension", "tens", "ten", "force", "weight", "wt", "n", "kn", "lbf", "lb", "lbs", "kg",
    "kgf",
];
const DEPTH_WORDS: [&str; 10] = [
    "depth", "dep", "length", "len", "line", "pos", "m", "ft", "mm", "cm",
];

impl Slot {
    /// Whether the numbers differ.
    pub(super) fn varies(&self) -> bool {
        self.numbers.windows(2).any(|pair| pair[0] != pair[1])
    }

    /// Whether they go on by the same whole number each time, as a count does.
    fn steps(&self) -> bool {
        let mut steps = self.numbers.windows(2).map(|pair| pair[1] - pair[0]);
        let first = steps.next().unwrap_or(0.0);
        self.whole && first >= 1.0 && steps.all(|step| step == first)
    }

    /// The unit that stands behind the numbers, as a job file writes it.
    pub(super) fn unit(&self) -> Option<&'static str> {
        let word = self.after.as_ref()?.to_ascii_lowercase();
        let known = UNITS.iter().find(|(written, _)| *written == word)?;
        Some(known.1)
    }

    /// The name that the line itself suggests.
    pub(super) fn told_name(&self) -> Option<&'static str> {
        if self.clock {
            return None;
        }
        // The unit after a number says more than the word before it.
        for word in [&self.after, &self.before].into_iter().flatten() {
            let word = word.to_ascii_lowercase();
            if LOAD_WORDS.contains(&word.as_str()) {
                return Some("load");
            }
            if DEPTH_WORDS.contains(&word.as_str()) {
                return Some("depth");
            }
        }
        let counts = |pair: &[f64]| pair[1] == pair[0] + 1.0 || pair[1] == 0.0;
        (self.whole && self.varies() && self.numbers.windows(2).all(counts)).then_some("seq")
    }
}

impl Shape {
    /// The shape of `line`; `None` when it is no text or holds no number.
    pub(super) fn of(line: &[u8]) -> Option<Self> {
        let readable = |byte: &u8| (0x20..0x7F).contains(byte) || [2, 3, b'\t'].contains(byte);
        if !line.iter().all(readable) {
            return None;
        }
        let mut places: Vec<Place> = Vec::new();
        let mut rest = line;
        let mut blank = false;
        while let Some(&first) = rest.first() {
            if first == b' ' || first == b'\t' {
                blank = true;
                rest = &rest[1..];
                continue;
            }
            let after_number = matches!(
                places.last(),
                Some(Place {
                    part: Part::Number(_),
                    ..
                })
            );
            let after_star = places
                .last()
                .is_some_and(|place| place.part == Part::Sign(b'*'));
            let (part, length) = if after_star && !blank && begins_with_checksum(rest) {
                (Part::Checksum, 2)
            } else {
                next_part(rest, after_number && !blank)
            };
            let numbers = match &part {
                Part::Number(text) => vec![text.replace([' ', '+'], "").parse().ok()?],
                _ => Vec::new(),
            };
            let words = match &part {
                Part::Word(text) => vec![text.clone()],
                _ => Vec::new(),
            };
            places.push(Place {
                decimals: decimals(&part),
                part,
                words,
                constant: true,
                blank_before: blank,
                numbers,
            });
            blank = false;
            rest = &rest[length..];
        }
        let numbered = places.iter().any(|place| !place.numbers.is_empty());
        numbered.then_some(Self {
            places,
            lines: 1,
            label: None,
            blank_after: blank,
        })
    }

    pub(super) fn same_as(&self, other: &Self) -> bool {
        self.places.len() == other.places.len()
            && (self.places.iter().zip(&other.places))
                .all(|(one, two)| one.part.same_kind(&two.part))
    }

    pub(super) fn merge(&mut self, other: &Self) {
        self.lines += 1;
        self.blank_after |= other.blank_after;
        for (place, new) in self.places.iter_mut().zip(&other.places) {
            place.constant &= place.part == new.part;
            place.blank_before |= new.blank_before;
            place.numbers.extend_from_slice(&new.numbers);
            place.decimals = place.decimals.max(new.decimals);
            for word in &new.words {
                if place.words.len() < WORDS_KEPT && !place.words.contains(word) {
                    place.words.push(word.clone());
                }
            }
        }
    }

    /// How many parts a line has.
    pub(super) fn places(&self) -> usize {
        self.places.len()
    }

    /// The word at `place`, in the first line.
    pub(super) fn word(&self, place: usize) -> Option<&str> {
        match &self.places.get(place)?.part {
            Part::Word(text) => Some(text),
            _ => None,
        }
    }

    /// Words that are not the same in all lines, as far as they are kept.
    pub(super) fn changing_words(&self) -> Vec<String> {
        let changing = |place: &&Place| !place.constant;
        let words = self.places.iter().filter(changing);
        words.flat_map(|place| place.words.clone()).collect()
    }

    /// Whether its lines tell `name` of load and depth, and not the other.
    pub(super) fn tells_only(&self, name: &str) -> bool {
        let told = self.told_quantities();
        !told.is_empty() && told.iter().all(|told| *told == name)
    }

    /// Whether its lines tell both load and depth.
    pub(super) fn tells_both(&self) -> bool {
        let told = self.told_quantities();
        told.contains(&"load") && told.contains(&"depth")
    }

    fn told_quantities(&self) -> Vec<&'static str> {
        (self.slots().iter())
            .filter_map(Slot::told_name)
            .filter(|name| *name != "seq")
            .collect()
    }

    /// The column that is likeliest the reading, where nothing tells: one that changes, and neither clock nor count.
    pub(super) fn value_slot(&self) -> Option<usize> {
        let slots = self.slots();
        (0..slots.len())
            .filter(|&index| !slots[index].clock)
            .min_by_key(|&index| (slots[index].steps(), !slots[index].varies()))
    }

    /// The columns of numbers; names within words (`LC01`) are none.
    pub(super) fn slots(&self) -> Vec<Slot> {
        (0..self.places.len())
            .filter(|&index| self.is_slot(index))
            .map(|index| self.slot(index))
            .collect()
    }

    /// A pattern for such lines, with the columns captured under `names`.
    pub(super) fn pattern(&self, names: &[Option<&str>]) -> String {
        let mut names = names.iter();
        let mut pattern = String::from("^");
        for (index, place) in self.places.iter().enumerate() {
            let alike = |part: &Part| matches!(part, Part::Number(_) | Part::Word(_));
            let separates = index > 0 && alike(&self.places[index - 1].part) && alike(&place.part);
            match (place.blank_before, separates && !self.glued(index)) {
                (false, _) => {}
                (true, true) => pattern.push_str(r"\s+"),
                (true, false) => pattern.push_str(r"\s*"),
            }
            let name = self.is_slot(index).then(|| names.next().copied().flatten());
            match (&place.part, name) {
                (Part::Number(_), Some(Some(name))) => {
                    pattern.push_str(&format!(r"(?<{name}>[-+]?\s*[.\d]+)"));
                }
                (Part::Number(_), Some(None)) => pattern.push_str(r"[-+]?\s*[.\d]+"),
                (Part::Number(text) | Part::Word(text), _) if place.constant => {
                    pattern.push_str(&regex::escape(text));
                }
                (Part::Number(_), None) => pattern.push_str(r"[.\d]+"),
                (Part::Word(_), _) => pattern.push_str("[A-Za-z]+"),
                (Part::Checksum, _) => pattern.push_str("[0-9A-Fa-f]{2}"),
                (Part::Sign(byte), _) if byte.is_ascii_graphic() => {
                    pattern.push_str(&regex::escape(&char::from(*byte).to_string()));
                }
                (Part::Sign(byte), _) => pattern.push_str(&format!(r"\x{byte:02X}")),
            }
        }
        if self.blank_after {
            pattern.push_str(r"\s*");
        }
        pattern.push('$');
        pattern
    }

    /// A number that stands in a word and never changes belongs to the word.
    fn is_slot(&self, index: usize) -> bool {
        let place = &self.places[index];
        let belongs_to_word = place.constant && self.glued(index);
        !place.numbers.is_empty() && !belongs_to_word
    }

    /// Number right after a word.
    fn glued(&self, index: usize) -> bool {
        index > 0
            && matches!(self.places[index - 1].part, Part::Word(_))
            && matches!(self.places[index].part, Part::Number(_))
            && !self.places[index].blank_before
    }

    fn slot(&self, index: usize) -> Slot {
        let part = |at: Option<usize>| at.and_then(|at| self.places.get(at)).map(|at| &at.part);
        let sign = |at: Option<usize>| match part(at) {
            Some(Part::Sign(byte)) => *byte,
            _ => 0,
        };
        let word = |at: Option<usize>| match part(at) {
            Some(Part::Word(text)) => Some(text.clone()),
            _ => None,
        };
        let (one, two) = (index.checked_sub(1), index.checked_sub(2));
        let number = |at| matches!(part(at), Some(Part::Number(_)));
        let between = |byte: u8| b":/-".contains(&byte);
        Slot {
            numbers: self.places[index].numbers.clone(),
            clock: (between(sign(one)) && number(two))
                || (between(sign(Some(index + 1))) && number(Some(index + 2))),
            // `T=5`, `T: 5` or `T 5`
            before: word(one).or_else(|| match sign(one) {
                b'=' | b':' => word(two),
                _ => None,
            }),
            after: word(Some(index + 1)),
            decimals: self.places[index].decimals,
            whole: !matches!(&self.places[index].part, Part::Number(text) if text.contains('.')),
        }
    }
}

/// Digits behind the point of a number.
fn decimals(part: &Part) -> usize {
    match part {
        Part::Number(text) => text.split_once('.').map_or(0, |(_, digits)| digits.len()),
        _ => 0,
    }
}

fn begins_with_checksum(rest: &[u8]) -> bool {
    rest.len() >= 2
        && rest[..2].iter().all(u8::is_ascii_hexdigit)
        && !rest.get(2).is_some_and(u8::is_ascii_alphanumeric)
}

/// The first part of `rest`, which is not empty and does not begin with a blank, and its length.
/// `joined`: a sign here would follow a number, so it is none (`12-05`).
fn next_part(rest: &[u8], joined: bool) -> (Part, usize) {
    let text = |length: usize| String::from_utf8_lossy(&rest[..length]).into_owned();
    let run = |from: usize, test: fn(&u8) -> bool| {
        from + rest[from..].iter().take_while(|byte| test(byte)).count()
    };
    let first = rest[0];
    if first.is_ascii_alphabetic() {
        let length = run(0, u8::is_ascii_alphabetic);
        return (Part::Word(text(length)), length);
    }
    let start = if !joined && (first == b'-' || first == b'+') {
        run(1, |&byte| byte == b' ')
    } else {
        0
    };
    let whole = run(start, u8::is_ascii_digit);
    let mut end = whole;
    if rest.get(whole) == Some(&b'.') {
        let fraction = run(whole + 1, u8::is_ascii_digit);
        if fraction > whole + 1 || whole > start {
            end = fraction;
        }
    }
    if end > start {
        (Part::Number(text(end)), end)
    } else {
        (Part::Sign(first), 1)
    }
}
