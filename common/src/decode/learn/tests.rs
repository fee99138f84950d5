use super::*;

fn lines(make: impl Fn(i32) -> String) -> Vec<u8> {
    let text: String = (0..20).map(make).collect();
    // Joins and leaves in the middle of a line.
    text.as_bytes()[2..text.len() - 3].to_vec()
}

fn first_pattern(bytes: &[u8]) -> String {
    let proposals = propose(bytes);
    assert!(proposals[0].share > 0.99, "{proposals:?}");
    proposals[0].pattern.clone().unwrap()
}

/// What the pattern reads from one line.
fn read(pattern: &str, channel: ChannelId, line: &str) -> Option<(f64, Option<u64>)> {
    let mut decoder = PatternDecoder::new(&[(channel, pattern)]).unwrap();
    let mut got = None;
    decoder.push(0, format!("{line}\n").as_bytes(), &mut |reading| {
        got = Some((reading.raw, reading.seq));
    });
    got
}

#[test]
fn weighing_indicator_with_padding_status_and_unit_is_learned() {
    let bytes = lines(|n| {
        let status = if n % 3 == 0 { "US" } else { "ST" };
        format!(
            "{status},GS,{}{:7.1}kg\r\n",
            if n % 4 == 0 { "-" } else { "+" },
            n * 30
        )
    });
    let pattern = first_pattern(&bytes);
    assert_eq!(propose(&bytes)[0].columns[0].unit, Some("kgf"));
    let line = "ST,GS,-    81.5kg";
    assert_eq!(
        read(&pattern, ChannelId::Load, line),
        Some((-81.5, None)),
        "{pattern}"
    );
}

#[test]
fn units_tell_load_from_depth_and_a_counter_is_found() {
    let bytes = lines(|n| {
        format!(
            "#{:05} D={:.2} m T={} lbf\n",
            40 + n,
            812.0 + 0.1 * f64::from(n),
            400 - n
        )
    });
    let pattern = first_pattern(&bytes);
    let line = "#01234 D=900.25 m T=1,5 lbf";
    assert_eq!(read(&pattern, ChannelId::Depth, line), None, "{pattern}");
    let line = "#01234 D=900.25 m T=15 lbf";
    assert_eq!(
        read(&pattern, ChannelId::Depth, line),
        Some((900.25, Some(1234)))
    );
    assert_eq!(
        read(&pattern, ChannelId::Load, line),
        Some((15.0, Some(1234)))
    );
}

#[test]
fn checksum_in_hexadecimal_is_no_column() {
    let bytes = lines(|n| {
        format!(
            "$LOAD,{:.1}*{:02X}\r\n",
            3000.0 + f64::from(n),
            37 * n % 256
        )
    });
    let pattern = first_pattern(&bytes);
    for end in ["07", "A3", "ff"] {
        let line = format!("$LOAD,2999.5*{end}");
        assert_eq!(
            read(&pattern, ChannelId::Load, &line),
            Some((2999.5, None)),
            "{pattern}"
        );
    }
}

#[test]
fn time_of_day_is_left_alone() {
    let bytes = lines(|n| format!("12:59:{:02};{:.1};{:.2}\r\n", 30 + n, 2000 - 3 * n, 5 * n));
    let proposals = propose(&bytes);
    let pattern = proposals[0].pattern.clone().unwrap();
    let line = "13:00:07;-5.5;77";
    assert_eq!(
        read(&pattern, ChannelId::Load, line),
        Some((-5.5, None)),
        "{pattern}"
    );
    assert_eq!(read(&pattern, ChannelId::Depth, line), Some((77.0, None)));
    // Load and depth cannot be told apart here: the other order is offered too.
    assert_eq!(proposals.len(), 2);
}

#[test]
fn packets_are_recognised() {
    let mut bytes = vec![7, 7, 0];
    for seq in 0..10 {
        Packet::new(seq, Some(2000.0), None).encode(&mut bytes);
    }
    let proposals = propose(&bytes);
    assert_eq!(proposals[0].job_lines(), "protocol = \"packet\"\n");
    assert_eq!(proposals[0].channels, [ChannelId::Load]);
}

#[test]
fn nonsense_gives_no_proposal() {
    assert!(propose(b"").is_empty());
    assert!(propose(&[0xE6, b'\n', 0x98, 0xFF, b'\r', 0x80, b'\n'].repeat(30)).is_empty());
    assert!(propose(b"hello\nhello\nhello\nhello\nhello\n").is_empty());
}

/// Load and depth in turn, as `make` writes the two lines of a tenth of a second.
fn both_from(make: impl Fn(f64, f64) -> (String, String)) -> Vec<u8> {
    lines(|n| {
        let (load, depth) = make(
            1600.0 + f64::from(n % 7) * 8.0,
            1490.0 + 0.25 * f64::from(n),
        );
        format!("{load}\r\n{depth}\r\n")
    })
}

#[test]
fn load_and_depth_in_lines_of_their_own_are_told_apart() {
    let by_unit = both_from(|n, m| (format!("L {n:.1} N"), format!("D {m:.3} m")));
    let by_letter = both_from(|n, m| (format!("L {n:.0}"), format!("D {m:.2}")));
    let tension = both_from(|n, m| (format!("T={n:.1}"), format!("L={m:.3}")));
    let by_shape = both_from(|n, m| (format!("TENSION {n:.1}"), format!("DEPTH: {m:.3} m")));
    for (bytes, load, depth) in [
        (by_unit, "L 1604.5 N", "D 1491.662 m"),
        (by_letter, "L 1604.5", "D 1491.662"),
        (tension, "T=1604.5", "L=1491.662"),
        (by_shape, "TENSION 1604.5", "DEPTH: 1491.662 m"),
    ] {
        let best = &propose(&bytes)[0];
        let pattern = first_pattern(&bytes);
        assert_eq!(best.channels, [ChannelId::Load, ChannelId::Depth]);
        let read = |channel, line| read(&pattern, channel, line).map(|(number, _)| number);
        assert_eq!(read(ChannelId::Load, load), Some(1604.5), "{pattern}");
        assert_eq!(read(ChannelId::Depth, depth), Some(1491.662), "{pattern}");
        assert_eq!(read(ChannelId::Load, depth), None, "{pattern}");
        assert_eq!(read(ChannelId::Depth, load), None, "{pattern}");
        assert!(best.columns[0].low >= 1600.0 && best.columns[1].high < 1500.0);
        // No other reading is as good: nothing is a guess.
        assert!(propose(&bytes)[1].share < best.share);
    }
}

#[test]
fn unknown_labels_are_told_apart_by_their_numbers_but_which_is_load_stays_open() {
    let bytes = both_from(|n, m| (format!("CHA {n:.1}"), format!("CHB {m:.2}")));
    let proposals = propose(&bytes);
    assert_eq!(proposals[0].share, proposals[1].share);
    let of_load: Vec<Option<f64>> = (proposals[..2].iter())
        .map(|proposal| {
            let pattern = proposal.pattern.clone().unwrap();
            read(&pattern, ChannelId::Load, "CHA 1600.5").map(|(number, _)| number)
        })
        .collect();
    assert!(of_load.contains(&None) && of_load.contains(&Some(1600.5)));
}

#[test]
fn status_words_are_no_labels() {
    // Over and under a threshold in turn: the numbers of both touch.
    let bytes = lines(|n| {
        let value = 500 + 10 * (n % 4);
        format!("{},{value}\n", if value > 515 { "HI" } else { "LO" })
    });
    let best = &propose(&bytes)[0];
    assert_eq!(best.channels.len(), 1);
    assert!(best.share > 0.99);
    assert_eq!(best.changing_words, ["LO", "HI"]);
}

/// The number named as one with a comma in it.
fn refused(bytes: &[u8]) -> Option<String> {
    let proposals = propose(bytes);
    let best = proposals.first()?;
    assert_eq!(best.pattern.is_none(), best.comma.is_some());
    best.comma.clone()
}

#[test]
fn decimal_commas_are_refused_by_name() {
    let two = lines(|n| {
        format!(
            "{},{};{},{:03}\n",
            1600 - n,
            n % 10,
            1490 + n,
            37 * n % 1000
        )
    });
    assert_eq!(refused(&two).as_deref(), Some("1599,1"));
    let labelled = lines(|n| format!("LOAD {},{} N\n", 1600 - n, 7 * n % 10));
    assert_eq!(refused(&labelled).as_deref(), Some("1599,7"));
    let listed = lines(|n| format!("ST,GS,{},{}kg\n", 81 + n, 7 * n % 10));
    assert_eq!(refused(&listed).as_deref(), Some("82,7"));
    let alone = lines(|n| format!("{},{:02}\n", 1490 + n, 7 * n % 100));
    assert_eq!(refused(&alone).as_deref(), Some("1491,07"));
}

#[test]
fn commas_between_columns_are_no_decimal_commas() {
    for bytes in [
        lines(|n| format!("{},{}\n", 1600 - n, 1490 + n)),
        lines(|n| format!("$LOAD,{},{}\n", 1600 - n, n % 2)),
        lines(|n| format!("{n},{},{}\n", 1600 - n, n % 10)),
        lines(|n| format!("{},{};{}.{}\n", 1600 - n, n % 10, 1490 + n, n % 10)),
    ] {
        assert_eq!(refused(&bytes), None);
        assert!(!propose(&bytes).is_empty());
    }
}

#[test]
fn commas_between_thousands_are_refused_by_name() {
    let plain = lines(|n| format!("{},{:03} lbs\n", 1, 220 + n % 7));
    assert_eq!(refused(&plain).as_deref(), Some("1,221"));
    // Over a thousand and back, as a load does.
    let around = lines(|n| {
        let load = 990 + 5 * (n % 6);
        if load < 1000 {
            format!("GS {load} lbs\n")
        } else {
            format!("GS 1,{:03} lbs\n", load - 1000)
        }
    });
    assert_eq!(refused(&around).as_deref(), Some("1,000"));
    let over = lines(|n| format!("LOAD 1{},{:03}.5\n", n / 10, n % 10 * 100));
    assert_eq!(refused(&over).as_deref(), Some("10,100.5"));
    let counts = lines(|n| format!("C 4,{:03},{:03}\n", 120 + n / 2, n % 2 * 500));
    assert_eq!(refused(&counts).as_deref(), Some("4,120,500"));
}

#[test]
fn columns_of_three_digits_are_no_thousands() {
    for bytes in [
        lines(|n| format!("{},{}\n", 600 - n, 490 + n)),
        lines(|n| format!("{n},{} lbs\n", 500 + n % 7)),
        lines(|n| format!("{},{:03},{}\n", 100 + n % 3, 200 + n, 300 - n)),
    ] {
        assert_eq!(refused(&bytes), None);
        assert!(!propose(&bytes).is_empty());
    }
}

/// What a single column is taken for first, and by what.
fn told(make: impl Fn(i32) -> String) -> (ChannelId, ToldBy) {
    let proposals = propose(&lines(make));
    let best = &proposals[0];
    assert!(
        best.share > 0.99 && best.channels.len() == 1,
        "{proposals:?}"
    );
    // The other reading is offered too, unless its lines say what it is.
    let is_open = (proposals.get(1)).is_some_and(|next| next.share == best.share);
    assert_eq!(is_open, best.told_by != ToldBy::Lines);
    (best.channels[0], best.told_by.clone())
}

#[test]
fn a_single_column_is_told_by_words_then_by_letters_then_by_decimals() {
    let metres = |n: i32| 6.0 + 0.25 * f64::from(n);
    let (load, depth) = (ChannelId::Load, ChannelId::Depth);
    let letter = |text: &str| ToldBy::Letter(text.to_owned());
    assert_eq!(
        told(|n| format!("D {:.4}\r\n", metres(n))),
        (depth, letter("D"))
    );
    assert_eq!(
        told(|n| format!("d={:.1}\r\n", metres(n))),
        (depth, letter("d"))
    );
    assert_eq!(
        told(|n| format!("L {:.1}\r\n", 1600.0 + metres(n))),
        (load, letter("L"))
    );
    assert_eq!(
        told(|n| format!("DEPTH {:.1}\r\n", metres(n))),
        (depth, ToldBy::Lines)
    );
    assert_eq!(
        told(|n| format!("{:.2} ft\r\n", metres(n))),
        (depth, ToldBy::Lines)
    );
    assert_eq!(
        told(|n| format!("{:.3} lbf\r\n", metres(n))),
        (load, ToldBy::Lines)
    );
    assert_eq!(
        told(|n| format!("{:.3}\r\n", metres(n))),
        (depth, ToldBy::Decimals(3))
    );
    assert_eq!(
        told(|n| format!("{:.1}\r\n", 1600.0 + metres(n))),
        (load, ToldBy::Nothing)
    );
    // A letter of one, the decimals of the other.
    assert_eq!(
        told(|n| format!("L {:.4}\r\n", metres(n))).1,
        ToldBy::Nothing
    );
}
