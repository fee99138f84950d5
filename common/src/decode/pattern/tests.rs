use super::*;

const BOTH: &str = r"^(?<seq>\d+);(?<load>[^;]*);(?<depth>[^;]*)$";

fn decoder(pattern: &str) -> PatternDecoder {
    PatternDecoder::new(&[(ChannelId::Load, pattern)]).unwrap()
}

fn read(decoder: &mut PatternDecoder, bytes: &[u8]) -> Vec<f64> {
    let mut values = Vec::new();
    decoder.push(7, bytes, &mut |reading| values.push(reading.raw));
    values
}

#[test]
fn all_three_line_ends_are_taken() {
    let mut lines = decoder(r"^(?<load>\S+)$");
    assert_eq!(read(&mut lines, b"1\n2\r\n3\r4\r\r\n\n5"), [1., 2., 3., 4.]);
    assert_eq!(read(&mut lines, b"6\n"), [56.0]);
    assert_eq!(lines.counts().bad, 0);
    assert_eq!(lines.counts().good, 5);
}

#[test]
fn numbers_may_be_padded_but_must_be_finite() {
    for (text, value) in [
        ("12.5", Some(12.5)),
        ("+  12", Some(12.0)),
        ("-   0.5", Some(-0.5)),
        (" 1e3 ", Some(1000.0)),
        (".5", Some(0.5)),
        ("inf", None),
        ("-nan", None),
        ("--1", None),
        ("1,5", None),
        ("1e999", None),
        ("", None),
        ("-", None),
        ("1 2", None),
    ] {
        assert_eq!(number(text.as_bytes()), value, "{text}");
    }
}

#[test]
fn one_bad_number_does_not_cost_the_other_channel() {
    let mut lines =
        PatternDecoder::new(&[(ChannelId::Load, BOTH), (ChannelId::Depth, BOTH)]).unwrap();
    let mut got = Vec::new();
    lines.push(3, b"17;----;812.4\r\n", &mut |reading| got.push(reading));
    assert_eq!(got.len(), 1);
    assert_eq!((got[0].channel, got[0].raw), (ChannelId::Depth, 812.4));
    assert_eq!((got[0].seq, got[0].at), (Some(17), 3));
    assert_eq!((lines.counts().good, lines.counts().not_a_number), (1, 1));
}

#[test]
fn two_patterns_share_a_port() {
    let mut lines = PatternDecoder::new(&[
        (ChannelId::Load, r"^L (?<load>\S+)$"),
        (ChannelId::Depth, r"^D (?<depth>\S+) (?<t>\S+)$"),
    ])
    .unwrap();
    let mut got = Vec::new();
    lines.push(0, b"L 5\nD 6 0.25\nX 7\n", &mut |reading| got.push(reading));
    assert_eq!(got.len(), 2);
    assert_eq!((got[1].raw, got[1].device_s), (6.0, Some(0.25)));
    assert_eq!((lines.counts().good, lines.counts().no_match), (2, 1));
}

#[test]
fn temperature_comes_with_the_reading_or_in_a_line_of_its_own_and_stays() {
    let mut lines = decoder(r"^(?:L (?<load>\S+)|T (?<temperature>\S+))$");
    let mut got = Vec::new();
    let bytes = b"L 1\nT 31.5\nL 2\nL 3\nT hot\nL 4\n";
    lines.push(0, bytes, &mut |reading| {
        got.push((reading.raw, reading.temperature))
    });
    let warm = Some(31.5);
    assert_eq!(got, [(1.0, None), (2.0, warm), (3.0, warm), (4.0, warm)]);
    assert_eq!((lines.counts().good, lines.counts().not_a_number), (5, 1));
    let mut lines = decoder(r"^(?<load>\S+) (?<temperature>\S+)$");
    got.clear();
    lines.push(0, b"5 -3\n6 x\n", &mut |reading| {
        got.push((reading.raw, reading.temperature))
    });
    assert_eq!(got, [(5.0, Some(-3.0)), (6.0, Some(-3.0))]);
}

#[test]
fn over_long_line_is_dropped_once_and_the_next_is_read() {
    for chunk in [1, 7, 100, 5000] {
        let mut lines = decoder(r"^(?<load>\S+)$");
        let mut bytes = vec![b'x'; 3000];
        bytes.extend_from_slice(b"\n42\n");
        let mut got = Vec::new();
        for part in bytes.chunks(chunk) {
            got.extend(read(&mut lines, part));
        }
        assert_eq!(got, [42.0]);
        assert_eq!((lines.counts().too_long, lines.counts().bad), (1, 1));
    }
}

#[test]
fn half_a_line_after_opening_is_not_read_as_a_smaller_number() {
    let mut lines = decoder(r"(?<load>\d+)");
    assert!(read(&mut lines, b"123").is_empty());
    lines.port_changed(false);
    lines.port_changed(true);
    assert_eq!(read(&mut lines, b"45\n12345\n"), [12345.0]);
    assert_eq!((lines.counts().partial, lines.counts().bad), (2, 0));
}

#[test]
fn unusable_patterns_are_explained() {
    let syntax = PatternDecoder::new(&[(ChannelId::Load, "(?<load>")]).unwrap_err();
    assert!(syntax.to_string().contains("not a regular expression"));
    let missing = PatternDecoder::new(&[(ChannelId::Depth, r"(?<load>\d+)")]).unwrap_err();
    assert_eq!(missing, PatternError::NoCapture("depth"));
}
