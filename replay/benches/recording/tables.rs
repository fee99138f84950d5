//! The same data as CSV and as Parquet, written and read back: what the record is set beside.

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::recording::time_of;
use parquet::basic::{Compression, Encoding, Repetition, Type as Physical, ZstdLevel};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::fmt::Write as _;
use std::fs::File;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;

/// Rows of a row group: the default of most writers.
const GROUP_ROWS: usize = 1 << 20;

/// Samples alone: readings and received frames.
fn samples(inputs: &[Input]) -> impl Iterator<Item = &Input> {
    inputs
        .iter()
        .filter(|input| matches!(input, Input::Reading { .. } | Input::Received { .. }))
}

/// Writes a table: time in seconds, then load and depth, or port and line.
pub(crate) fn write_csv(inputs: &[Input], path: &Path) {
    let mut csv = String::new();
    for input in samples(inputs) {
        let t = time_of(input) as f64 * 1e-9;
        let _ = match input {
            Input::Reading {
                channel: ChannelId::Load,
                value,
                ..
            } => writeln!(csv, "{t},{value},"),
            Input::Reading { value, .. } => writeln!(csv, "{t},,{value}"),
            Input::Received { port, bytes, .. } if bytes.is_ascii() => {
                let text = String::from_utf8_lossy(bytes);
                writeln!(csv, "{t:.9},{port},{}", text.trim_end())
            }
            Input::Received { port, bytes, .. } => {
                let _ = write!(csv, "{t:.9},{port},");
                bytes
                    .iter()
                    .try_for_each(|b| write!(csv, "{b:02x}"))
                    .and_then(|()| writeln!(csv))
            }
            _ => Ok(()),
        };
    }
    std::fs::write(path, csv).unwrap();
}

/// Reads every number of it.
pub(crate) fn read_csv(path: &Path) {
    let text = std::fs::read_to_string(path).unwrap();
    let numbers = text
        .lines()
        .flat_map(|line| line.split(','))
        .filter_map(|field| field.parse::<f64>().ok());
    black_box(numbers.sum::<f64>());
}

/// Writes time (ns, delta coded), channel or port, and value or bytes; zstd 3, the rest as the crate does by default.
pub(crate) fn write_parquet(inputs: &[Input], path: &Path) {
    let rows: Vec<&Input> = samples(inputs).collect();
    let readings = matches!(rows.first(), Some(Input::Reading { .. }));
    let column = |name: &str, physical| {
        let column = Type::primitive_type_builder(name, physical);
        let column = column.with_repetition(Repetition::REQUIRED);
        Arc::new(column.build().unwrap())
    };
    let body = if readings {
        Physical::DOUBLE
    } else {
        Physical::BYTE_ARRAY
    };
    let fields = vec![
        column("at_ns", Physical::INT64),
        column("source", Physical::INT32),
        column("body", body),
    ];
    let schema = Type::group_type_builder("record")
        .with_fields(fields)
        .build()
        .unwrap();
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3).unwrap()))
        .set_column_dictionary_enabled("at_ns".into(), false)
        .set_column_encoding("at_ns".into(), Encoding::DELTA_BINARY_PACKED)
        .build();
    let out = File::create(path).unwrap();
    let mut file = SerializedFileWriter::new(out, Arc::new(schema), Arc::new(properties)).unwrap();
    for rows in rows.chunks(GROUP_ROWS) {
        let mut group = file.next_row_group().unwrap();
        let at: Vec<i64> = rows.iter().map(|input| time_of(input)).collect();
        write_column::<Int64Type>(&mut group, &at);
        let source = rows.iter().map(|input| match input {
            Input::Reading { channel, .. } => i32::from(*channel == ChannelId::Depth),
            Input::Received { port, .. } => i32::from(*port),
            _ => -1,
        });
        write_column::<Int32Type>(&mut group, &source.collect::<Vec<_>>());
        if readings {
            let values = rows.iter().map(|input| match input {
                Input::Reading { value, .. } => *value,
                _ => f64::NAN,
            });
            write_column::<DoubleType>(&mut group, &values.collect::<Vec<_>>());
        } else {
            let frames = rows.iter().map(|input| match input {
                Input::Received { bytes, .. } => ByteArray::from(bytes.as_slice()),
                _ => ByteArray::new(),
            });
            write_column::<ByteArrayType>(&mut group, &frames.collect::<Vec<_>>());
        }
        group.close().unwrap();
    }
    file.close().unwrap();
}

fn write_column<T: DataType>(group: &mut SerializedRowGroupWriter<'_, File>, values: &[T::T]) {
    let mut column = group.next_column().unwrap().unwrap();
    let typed = column.typed::<T>();
    typed.write_batch(values, None, None).unwrap();
    column.close().unwrap();
}

/// Reads every column of it, whole batches at a time.
pub(crate) fn read_parquet(path: &Path) {
    let file = SerializedFileReader::try_from(path).unwrap();
    for group in 0..file.num_row_groups() {
        let group = file.get_row_group(group).unwrap();
        for column in 0..group.num_columns() {
            match group.get_column_reader(column).unwrap() {
                ColumnReader::Int64ColumnReader(column) => read_column(column),
                ColumnReader::Int32ColumnReader(column) => read_column(column),
                ColumnReader::DoubleColumnReader(column) => read_column(column),
                ColumnReader::ByteArrayColumnReader(column) => read_column(column),
                _ => unreachable!("no such column was written"),
            }
        }
    }
}

fn read_column<T: DataType>(mut column: ColumnReaderImpl<T>) {
    const ROWS: usize = 8192;
    let mut values = Vec::with_capacity(ROWS);
    while column
        .read_records(ROWS, None, None, &mut values)
        .unwrap()
        .0
        > 0
    {
        black_box(&values);
        values.clear();
    }
}
