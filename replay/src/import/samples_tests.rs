use super::*;

fn read(text: &[u8]) -> Result<(Vec<Row>, SetAside), Failure> {
    let mut rows = Vec::new();
    let aside = read_samples("a.csv", text, 0.0, |row, _| {
        rows.push(row);
        Ok(())
    })?;
    Ok((rows, aside))
}

fn row(s: f64, load_n: Option<f64>, depth_m: Option<f64>) -> Row {
    Row {
        at: nanos(s).unwrap(),
        load_n,
        depth_m,
    }
}

#[test]
fn rows_of_two_rates_are_read_in_file_order() {
    let (rows, aside) = read(
        b"time_s,load_n,depth_m\n0,2000.5,1200\n0.02,2001,\n0.04,,1200.1\n0.03,1999,\n0.03,1999,\n",
    )
    .unwrap();
    assert_eq!(
        rows,
        [
            row(0.0, Some(2000.5), Some(1200.0)),
            row(0.02, Some(2001.0), None),
            row(0.04, None, Some(1200.1)),
            row(0.03, Some(1999.0), None),
            row(0.03, Some(1999.0), None),
        ]
    );
    assert_eq!(aside.count(), 0);
    assert_eq!((aside.rows, aside.used), (5, 5));
}

#[test]
fn byte_order_mark_crlf_blanks_extra_columns_and_remarks_are_tolerated() {
    let (rows, aside) = read(
        b"\xef\xbb\xbf# logger 3\r\n Remark , depth_m,load_n , time_s\r\n\
          \"a, b\", 1200.0 , 2000 ,1.5\r\n\r\n# pause\r\n,,2001,2.5,,\r\nx,1,2,3",
    )
    .unwrap();
    assert_eq!(
        rows,
        [
            row(1.5, Some(2000.0), Some(1200.0)),
            row(2.5, Some(2001.0), None),
            row(3.0, Some(2.0), Some(1.0)),
        ]
    );
    assert_eq!(aside.count(), 0);
}

#[test]
fn bad_rows_are_counted_and_named_and_the_rest_is_used() {
    let (rows, aside) = read(
        b"time_s,load_n,depth_m\n0,2000,1200\nxx,1,2\n1,ERR,1200.1\n2,nan,1200.2\n3,2003\n4,2004,inf\n\
          5,20,05,7\n\xff\xfe\n6,,\n7,2007,1200.7\n",
    )
    .unwrap();
    assert_eq!(
        rows,
        [
            row(0.0, Some(2000.0), Some(1200.0)),
            row(1.0, None, Some(1200.1)),
            row(2.0, None, Some(1200.2)),
            row(4.0, Some(2004.0), None),
            row(7.0, Some(2007.0), Some(1200.7)),
        ]
    );
    assert_eq!(aside.count(), 7);
    assert_eq!(aside.without_value, 1);
    let text: Vec<String> = aside
        .findings("a.csv")
        .iter()
        .map(ToString::to_string)
        .collect();
    let text = text.join("\n");
    assert!(text.contains("a.csv:3: time_s: `xx`"), "{text}");
    assert!(text.contains("a.csv:4: load_n: `ERR`"), "{text}");
    assert!(text.contains("a.csv:6: `3,2003`"), "{text}");
    assert!(text.contains("a.csv:7: depth_m: `inf`"), "{text}");
}

#[test]
fn every_bad_row_is_counted_though_few_are_shown() {
    let mut text = b"time_s,load_n,depth_m\n0,1,2\n".to_vec();
    for _ in 0..1000 {
        text.extend_from_slice(b"1,?,3\n");
    }
    let (_, aside) = read(&text).unwrap();
    assert_eq!(aside.count(), 1000);
    assert_eq!(aside.findings("a.csv").len(), 3);
    assert!(aside.findings("a.csv")[2].problem.contains("997 more"));
}

#[test]
fn unusable_files_are_refused_with_the_remedy() {
    for (text, wanted) in [
        (&b""[..], "empty"),
        (b"\n\n", "no header line"),
        (b"time_s,load_n,depth_m\n", "no data row"),
        (b"time_s;load_n;depth_m\n0;1;2\n", "separated by semicolons"),
        (
            b"time_s,load_n,depth_m\n0;1;2\n1;2;3\n",
            "separated by semicolons",
        ),
        (
            b"time_s,load_n,depth_m\n0,0,2000,5,1200,0\n0,1,2000,5,1200,1\n",
            "decimal point",
        ),
        (
            b"time_s,load_n,depth_m\n1700000000.5,1,2\n1700000001,1,2\n",
            "--time-zero 1700000000.5",
        ),
        (
            b"time_s,load_n,depth_m\nx,1,2\n",
            "a.csv:2: time_s: no row is usable: 1 row without a usable time; first `x`\n  remedy: write seconds",
        ),
    ] {
        let failure = read(text).unwrap_err();
        assert!(failure.to_string().contains(wanted), "{failure}");
    }
}

#[test]
fn time_zero_is_subtracted() {
    let mut rows = Vec::new();
    read_samples(
        "a.csv",
        &b"time_s,load_n,depth_m\n1700000000.5,1,2\n"[..],
        1_700_000_000.0,
        |row, _| {
            rows.push(row);
            Ok(())
        },
    )
    .unwrap();
    assert_eq!(rows[0].at, 500_000_000);
}

#[test]
fn an_endless_line_is_set_aside_without_holding_it() {
    let mut text = b"time_s,load_n,depth_m\n0,1,2\n".to_vec();
    text.extend(std::iter::repeat_n(b'9', 300_000));
    text.extend_from_slice(b"\n1,2,3\n");
    let (rows, aside) = read(&text).unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(aside.count(), 1);
}

#[test]
fn a_last_line_without_line_end_is_used_and_told() {
    let (rows, aside) = read(b"time_s,load_n,depth_m\n0,2000,1200\n1,2001,12").unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!((aside.torn_end, aside.count()), (Some(3), 0));
    let (_, aside) = read(b"time_s,load_n,depth_m\n0,2000,1200\n").unwrap();
    assert_eq!(aside.torn_end, None);
}
