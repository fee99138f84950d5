//! Apache Parquet: one table, zstd, column names of the JSON.
//!
//! Numbers are DOUBLE (nothing is lost), counts INT64, yes/no BOOLEAN, words UTF8. A number that
//! can be missing is OPTIONAL and null then. Units are in the names and in the file's key-value
//! metadata (`kerfwatch.well`, `kerfwatch.run`, ...). The plain writer of the `parquet` crate is
//! used, without `arrow`: half the build for the same files.

use super::{Export, Format};
use crate::failure::Failure;
use crate::table::{Table, Values, table};
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical, ZstdLevel};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::io::{self, Write};
use std::sync::Arc;

/// The Parquet format.
#[derive(Debug)]
pub struct Parquet;

impl Format for Parquet {
    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure> {
        let mut about = vec![
            ("kerfwatch.well".to_owned(), export.job.info.well.clone()),
            ("kerfwatch.job".to_owned(), export.job.info.name.clone()),
            ("kerfwatch.run".to_owned(), export.result.run.id.clone()),
            (
                "kerfwatch.version".to_owned(),
                env!("CARGO_PKG_VERSION").to_owned(),
            ),
        ];
        if let Some(ns) = export.start_utc_ns {
            about.push(("kerfwatch.start_utc_ns".to_owned(), ns.to_string()));
        }
        if !export.result.run.what_if.is_empty() {
            let changes = export.result.run.what_if.join("; ");
            about.push(("kerfwatch.what_if".to_owned(), changes));
        }
        // The file writer wants a Send writer: build in memory, tables are small.
        let mut bytes = Vec::new();
        write_table(&table(export.result, export.table), about, &mut bytes)
            .map_err(|e| Failure::write("Parquet file", e))?;
        out.write_all(&bytes)
            .map_err(|e| Failure::write("Parquet file", e))
    }
}

/// Writes a table as one file with one row group.
///
/// # Errors
/// From `out`; the table itself always fits.
pub fn write_table(
    table: &Table,
    about: Vec<(String, String)>,
    out: impl Write + Send,
) -> io::Result<()> {
    write(table, about, out).map_err(io::Error::other)
}

fn write(
    table: &Table,
    about: Vec<(String, String)>,
    out: impl Write + Send,
) -> Result<(), ParquetError> {
    let about = about
        .into_iter()
        .map(|(k, v)| KeyValue::new(k, v))
        .collect();
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .set_key_value_metadata(Some(about))
        .set_created_by(concat!("kerfwatch-replay ", env!("CARGO_PKG_VERSION")).to_owned())
        .build();
    let mut file = SerializedFileWriter::new(out, schema(table)?, Arc::new(properties))?;
    let mut group = file.next_row_group()?;
    for column in &table.columns {
        write_column(&mut group, &column.values)?;
    }
    group.close()?;
    file.close()?;
    Ok(())
}

fn schema(table: &Table) -> Result<Arc<Type>, ParquetError> {
    let fields = table
        .columns
        .iter()
        .map(|column| {
            let (physical, repetition, logical) = match &column.values {
                Values::Real(_) => (Physical::DOUBLE, Repetition::OPTIONAL, None),
                Values::Whole(_) => (Physical::INT64, Repetition::REQUIRED, None),
                Values::Flag(_) => (Physical::BOOLEAN, Repetition::REQUIRED, None),
                Values::Word(_) => {
                    let utf8 = Some(LogicalType::String);
                    (Physical::BYTE_ARRAY, Repetition::REQUIRED, utf8)
                }
            };
            Type::primitive_type_builder(column.name, physical)
                .with_repetition(repetition)
                .with_logical_type(logical)
                .build()
                .map(Arc::new)
        })
        .collect::<Result<Vec<_>, _>>()?;
    let root = Type::group_type_builder("kerfwatch")
        .with_fields(fields)
        .build()?;
    Ok(Arc::new(root))
}

fn write_column<W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: &Values,
) -> Result<(), ParquetError> {
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General(
            "more columns than the schema has".into(),
        ));
    };
    match values {
        Values::Real(values) => {
            let levels: Vec<i16> = values.iter().map(|v| i16::from(v.is_some())).collect();
            let present: Vec<f64> = values.iter().flatten().copied().collect();
            column
                .typed::<DoubleType>()
                .write_batch(&present, Some(&levels), None)?;
        }
        Values::Whole(values) => {
            column
                .typed::<Int64Type>()
                .write_batch(values, None, None)?;
        }
        Values::Flag(values) => {
            column.typed::<BoolType>().write_batch(values, None, None)?;
        }
        Values::Word(values) => {
            let bytes: Vec<ByteArray> = values.iter().map(|v| v.as_str().into()).collect();
            column
                .typed::<ByteArrayType>()
                .write_batch(&bytes, None, None)?;
        }
    }
    column.close()
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::SerializedFileReader;
    use parquet::record::RowAccessor;

    #[test]
    fn table_reads_back_with_its_nulls() {
        let mut table = Table::default().whole("n", [1, 2].into_iter()).word(
            "state",
            ["free".to_owned(), "stalled".to_owned()].into_iter(),
        );
        table.columns.push(crate::table::Column {
            name: "peak_n",
            values: Values::Real(vec![None, Some(0.1 + 0.2)]),
        });
        let mut bytes = Vec::new();
        write_table(&table, vec![("a".into(), "b".into())], &mut bytes).unwrap();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        std::fs::write(&path, bytes).unwrap();
        let reader = SerializedFileReader::try_from(path.as_path()).unwrap();
        let rows: Vec<_> = reader.into_iter().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[1].get_string(1).unwrap(), "stalled");
        assert_eq!(
            rows[1].get_double(2).unwrap().to_bits(),
            (0.1_f64 + 0.2).to_bits()
        );
        assert!(rows[0].get_double(2).is_err(), "a missing number is null");
    }
}
