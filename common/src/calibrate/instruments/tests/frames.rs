//! Frames that come twice, late or mangled, and where frames come from.

use super::*;

#[test]
fn duplicated_and_reordered_frames_are_set_aside_and_counted() {
    let mut rig = Rig::new();
    for (step, seq) in [1, 2, 2, 4, 3, 5].into_iter().enumerate() {
        rig.depth(step as Nanos * 50 * MS, seq, 1000.0 + f64::from(seq) * 0.01);
    }
    let flags: Vec<Flags> = (rig.of_channel(ChannelId::Depth).iter())
        .map(|(_, flags)| *flags)
        .collect();
    assert_eq!(
        flags,
        [
            Flags::NONE,
            Flags::NONE,
            Flags::DUPLICATE,
            Flags::NONE,
            Flags::REORDERED,
            Flags::NONE
        ]
    );
    let health = rig.instruments.health(ChannelId::Depth);
    assert_eq!(
        (health.duplicates, health.reordered, health.missing),
        (1, 1, 1)
    );
}

#[test]
fn garbage_of_a_wrong_baud_rate_is_called_frames_and_not_silence() {
    let mut rig = Rig::new();
    for index in 0..60 {
        let bytes = vec![0xE6, 0x1E, 0x86, b'\n', 0x98, 0xFE, b'\r'];
        let at = index * 100 * MS;
        rig.push(&Input::Received { port: 0, at, bytes });
        rig.tick(at);
    }
    assert_eq!(rig.fault(ChannelId::Load), "frames");
    assert!(rig.instruments.health(ChannelId::Load).bad_frames > 100);
    assert!(rig.every.is_empty());
}

/// 20 lines/s for ten seconds, whichever is due.
fn lines(rig: &mut Rig, line: impl Fn(i64) -> String) {
    for index in 0..200 {
        let at = index * 50 * MS;
        rig.load(at, &line(index));
        rig.tick(at);
    }
}

#[test]
fn status_lines_between_good_ones_are_no_fault_and_damaged_ones_are() {
    let mut rig = Rig::new();
    lines(&mut rig, |index| match index % 2 {
        0 => format!("{}", 1200 + index % 7),
        _ => "STATUS OK".to_owned(),
    });
    assert_eq!(rig.fault(ChannelId::Load), "");
    assert_eq!(rig.instruments.health(ChannelId::Load).bad_frames, 100);
    let mut rig = Rig::new();
    lines(&mut rig, |index| match index % 2 {
        0 => format!("{}", 1200 + index % 7),
        _ => format!("12{}x", index % 7),
    });
    assert_eq!(rig.fault(ChannelId::Load), "frames");
}

#[test]
fn text_that_holds_no_reading_at_all_is_a_fault() {
    let mut rig = Rig::new();
    lines(&mut rig, |_| "LOAD 1200 N".to_owned());
    assert_eq!(rig.fault(ChannelId::Load), "frames");
}

#[test]
fn setting_the_counter_moves_depth_from_then_on() {
    let mut rig = Rig::new();
    rig.depth(0, 1, 1000.0);
    rig.push(&Input::Mark {
        at: MS,
        mark: crate::input::Mark {
            kind: MarkKind::Zero(1003.0),
            author: String::new(),
        },
    });
    rig.depth(2 * MS, 2, 1000.5);
    let depths: Vec<f64> = rig
        .of_channel(ChannelId::Depth)
        .iter()
        .map(|v| v.0)
        .collect();
    assert_eq!(depths, [1000.0, 1003.5]);
}

#[test]
fn imported_readings_need_no_port() {
    let mut job = invented_job();
    (job.load, job.depth) = (None, None);
    let mut rig = Rig::of(&job);
    rig.push(&Input::Reading {
        channel: ChannelId::Load,
        at: 0,
        value: 99_999.0,
    });
    assert_eq!(rig.of_channel(ChannelId::Load), [(99_999.0, Flags::NONE)]);
}

#[test]
fn one_port_may_carry_both_channels() {
    let mut job = invented_job();
    let port = job.load.as_ref().unwrap().channel.port.clone();
    let shared = channel(&port, Protocol::Packet);
    job.load.as_mut().unwrap().channel = shared.clone();
    job.depth.as_mut().unwrap().channel = shared;
    let mut rig = Rig::of(&job);
    let mut bytes = Vec::new();
    Packet::new(1, Some(2000.0), Some(1000.0)).encode(&mut bytes);
    rig.push(&Input::Received {
        port: 0,
        at: 0,
        bytes,
    });
    assert_eq!(rig.judged.len(), 2);
    let mut mixed = job.clone();
    let pattern = "(?<depth>.*)".to_owned();
    mixed.depth.as_mut().unwrap().channel = channel(&port, Protocol::Pattern { pattern });
    let error = Instruments::new(&mixed).unwrap_err();
    assert!(error.to_string().contains("share port"), "{error}");
}

#[test]
fn how_bytes_were_cut_does_not_say_which_window_they_belong_to() {
    let told = |garbage_at_once: bool| {
        let mut rig = Rig::new();
        lines(&mut rig, |_| "1200".to_owned());
        let at = 200 * 50 * MS + WINDOW;
        let garbage: Vec<u8> = b"\xE6\x1E\x86\n".repeat(400);
        if garbage_at_once {
            rig.push(&Input::Received {
                port: 0,
                at,
                bytes: garbage,
            });
        } else {
            for byte in garbage {
                rig.push(&Input::Received {
                    port: 0,
                    at,
                    bytes: vec![byte],
                });
            }
        }
        rig.fault(ChannelId::Load)
    };
    assert_eq!(told(true), told(false));
}
