//! Record, page and server.

use crate::job::Job;
use crate::job::quantity::Dimension as D;
use crate::job::report::Report;

pub(super) fn services(job: &Job, report: &Report<'_>) {
    report.within("record", "sync", job.record.sync.si(), D::Time, 0.01, 60.0);
    if job.record.folder.trim().is_empty() {
        report.fault(
            "record",
            "folder",
            "an empty name",
            "the folder for runs, e.g. folder = \"runs\"",
        );
    }
    let listen = job.page.listen.as_str();
    let local = listen.strip_prefix("localhost:");
    if listen.parse::<std::net::SocketAddr>().is_err()
        && local.is_none_or(|port| port.parse::<u16>().is_err())
    {
        report.fault(
            "page",
            "listen",
            format!("\"{}\"", job.page.listen),
            "an address and port, e.g. listen = \"127.0.0.1:8760\"",
        );
    }
    if let Some(forward) = &job.forward {
        report.within(
            "forward",
            "rate",
            forward.rate_hz,
            D::Frequency,
            0.001,
            1000.0,
        );
        if !forward.url.is_empty()
            && !forward.url.starts_with("http://")
            && !forward.url.starts_with("https://")
        {
            report.fault(
                "forward",
                "url",
                format!("\"{}\"", forward.url),
                "the address of the server, e.g. url = \"http://127.0.0.1:8086\"",
            );
        }
    }
}
