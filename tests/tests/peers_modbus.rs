//! Our Modbus master against a device that others wrote (pymodbus), and beside a master that others
//! wrote (tokio-modbus). Needs `tests/peers/setup.sh` once.

use kerfwatch::decode::modbus_rtu::{Bus, ModbusDecoder};
use kerfwatch::decode::{FrameCounts, RawReading};
use kerfwatch::input::ChannelId;
use kerfwatch::job::{ModbusRegister, RegisterKind};
use kerfwatch_tests::peers::{PtyPair, python_ready};
use kerfwatchd::ports::{Clock, PortChange, PortConfig, run_port};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

fn clock() -> Clock {
    let start = Instant::now();
    Arc::new(move || start.elapsed().as_nanos() as i64)
}

fn register(register: u16, kind: RegisterKind, swap_words: bool) -> ModbusRegister {
    ModbusRegister {
        unit: 17,
        function: 3,
        register,
        kind,
        swap_words,
        poll_hz: 50.0,
    }
}

/// Polls until `enough` readings came or `time` is over.
async fn poll(
    address: &str,
    channels: &[(ChannelId, &ModbusRegister)],
    enough: usize,
    time: Duration,
) -> (Vec<RawReading>, FrameCounts) {
    let bus = Bus::new(channels, 19_200);
    let mut decoder = ModbusDecoder::new(bus.clone());
    let config = PortConfig {
        bus: Some(bus),
        ..PortConfig::new(0, address, 19_200, clock())
    };
    let (events, mut arriving) = mpsc::channel(64);
    let shutdown = CancellationToken::new();
    let port = tokio::spawn(run_port(config, events, shutdown.clone()));
    let end = tokio::time::Instant::now() + time;
    let mut readings = Vec::new();
    while readings.len() < enough {
        let Ok(Some(event)) = tokio::time::timeout_at(end, arriving.recv()).await else {
            break;
        };
        match event.change {
            PortChange::Sent(bytes) => decoder.sent(event.at, &bytes),
            PortChange::Received(bytes) => {
                decoder.push(event.at, &bytes, &mut |reading| readings.push(reading));
            }
            PortChange::Opened => decoder.port_changed(true),
            PortChange::Closed(reason) => panic!("{reason}"),
        }
    }
    shutdown.cancel();
    port.await.unwrap();
    (readings, *decoder.counts())
}

fn serial_device(folder: &tempfile::TempDir) -> (PtyPair, kerfwatch_tests::peers::Peer, String) {
    let pair = PtyPair::new(folder.path(), "device", "port");
    let device = python_ready("modbus_server.py", &["serial", pair.a.to_str().unwrap()]);
    let address = format!("serial:{}", pair.b.display());
    (pair, device, address)
}

#[tokio::test]
async fn every_number_type_of_a_foreign_device_is_read_over_a_serial_line() {
    use RegisterKind::{F32, I16, I32, U16, U32};
    let folder = tempfile::tempdir().unwrap();
    let (_pair, _device, address) = serial_device(&folder);
    for (at, kind, swap, value) in [
        (100, I16, false, -2.0),
        (101, U16, false, 65_534.0),
        (102, I32, false, -70_000.0),
        (104, U32, true, 3e9),
        (106, F32, false, 2345.5),
        (108, F32, true, -0.125),
    ] {
        for function in [3, 4] {
            let load = ModbusRegister {
                function,
                ..register(at, kind, swap)
            };
            let channels = [(ChannelId::Load, &load)];
            let (got, counts) = poll(&address, &channels, 3, Duration::from_secs(20)).await;
            assert_eq!(got.len(), 3, "register {at}: {counts:?}");
            assert!(got.iter().all(|reading| reading.raw == value), "{got:?}");
        }
    }
}

#[tokio::test]
async fn two_channels_of_one_device_come_by_one_request_or_by_two() {
    let folder = tempfile::tempdir().unwrap();
    let (_pair, _device, address) = serial_device(&folder);
    let load = register(106, RegisterKind::F32, false);
    for depth_at in [108, 102] {
        let depth = match depth_at {
            108 => register(108, RegisterKind::F32, true),
            _ => register(102, RegisterKind::I32, false),
        };
        let channels = [(ChannelId::Load, &load), (ChannelId::Depth, &depth)];
        let (got, counts) = poll(&address, &channels, 20, Duration::from_secs(20)).await;
        assert_eq!(counts.bad, 0, "{counts:?}");
        let of = |channel| got.iter().filter(move |reading| reading.channel == channel);
        assert!(of(ChannelId::Load).count() >= 9 && of(ChannelId::Depth).count() >= 9);
        assert!(of(ChannelId::Load).all(|reading| reading.raw == 2345.5));
    }
}

#[tokio::test]
async fn device_behind_a_tcp_gateway_is_read() {
    let port = std::net::TcpListener::bind("127.0.0.1:0")
        .and_then(|listener| listener.local_addr())
        .unwrap()
        .port()
        .to_string();
    let _device = python_ready("modbus_server.py", &["tcp", &port]);
    let load = register(106, RegisterKind::F32, false);
    let address = format!("tcp:127.0.0.1:{port}");
    let channels = [(ChannelId::Load, &load)];
    let (got, counts) = poll(&address, &channels, 10, Duration::from_secs(20)).await;
    assert_eq!((got.len(), counts.bad), (10, 0));
    assert_eq!(got[9].raw, 2345.5);
}

#[tokio::test]
async fn refusal_and_silence_of_one_device_do_not_stop_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let (_pair, _device, address) = serial_device(&folder);
    let load = register(106, RegisterKind::F32, false);
    let refused = register(7, RegisterKind::I16, false);
    let channels = [(ChannelId::Load, &load), (ChannelId::Depth, &refused)];
    let (got, counts) = poll(&address, &channels, 20, Duration::from_secs(20)).await;
    assert_eq!(got.len(), 20);
    assert!(counts.exception >= 10, "{counts:?}");

    let absent = ModbusRegister {
        unit: 99,
        ..register(100, RegisterKind::I16, false)
    };
    let channels = [(ChannelId::Load, &load), (ChannelId::Depth, &absent)];
    let (got, counts) = poll(&address, &channels, 60, Duration::from_secs(30)).await;
    assert_eq!(got.len(), 60, "{counts:?}");
    assert!(counts.no_answer >= 3, "{counts:?}");
}

#[tokio::test]
async fn foreign_master_reads_the_same_value_from_the_same_device() {
    use tokio_modbus::prelude::{Reader, Slave, rtu};
    let folder = tempfile::tempdir().unwrap();
    let (pair, _device, address) = serial_device(&folder);
    let words = {
        let line = tokio_serial::new(pair.b.to_string_lossy(), 19_200);
        let line = tokio_serial::SerialStream::open(&line).unwrap();
        let mut master = rtu::attach_slave(line, Slave(17));
        let asked = master.read_holding_registers(106, 2);
        let answer = tokio::time::timeout(Duration::from_secs(10), asked).await;
        answer.unwrap().unwrap().unwrap()
    };
    let bits = u32::from(words[0]) << 16 | u32::from(words[1]);
    let load = register(106, RegisterKind::F32, false);
    let channels = [(ChannelId::Load, &load)];
    let (got, _) = poll(&address, &channels, 1, Duration::from_secs(20)).await;
    assert_eq!(got[0].raw, f64::from(f32::from_bits(bits)));
}
