//! Connections that give up on whoever does not read, and on whoever does not ask.
//!
//! A page on a tablet that fell asleep keeps its connection open and takes nothing. When a write
//! has not moved for [`super::PATIENCE`] the connection is closed; the page reconnects when it wakes and
//! asks for what it missed. Whoever connects has as long to ask for something, and after each answer again; how many
//! may do so at a time: [`super::seats`].

use super::seats::{Seat, Seats, Verdict};
use crate::progress::{Progress, count};
use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::{Instant, Sleep};

/// Least time between lines of the log about a crowd.
const CROWD_SAID: Duration = Duration::from_secs(60);

/// A listener whose connections have patience.
#[derive(Debug)]
pub(crate) struct PatientListener {
    inner: TcpListener,
    progress: Arc<Progress>,
    patience: Duration,
    seats: Arc<Seats>,
    crowd_said: Option<Instant>,
}

impl PatientListener {
    pub(crate) fn new(inner: TcpListener, progress: Arc<Progress>, patience: Duration) -> Self {
        Self {
            inner,
            progress,
            patience,
            seats: Arc::default(),
            crowd_said: None,
        }
    }

    async fn is_crowded(&mut self, peer: SocketAddr) {
        count(&self.progress.crowded_out);
        if (self.crowd_said).is_none_or(|said| said.elapsed() >= CROWD_SAID) {
            self.crowd_said = Some(Instant::now());
            tracing::warn!(%peer, "too many connections to the page: idle ones are closed for new ones");
        }
        // Those that have to leave close their sockets before the next one is opened.
        tokio::task::yield_now().await;
    }
}

impl axum::serve::Listener for PatientListener {
    type Io = Patient;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        loop {
            let (stream, peer) = axum::serve::Listener::accept(&mut self.inner).await;
            let seat = self.seats.take();
            if !matches!(seat, Some((_, false))) {
                self.is_crowded(peer).await;
            }
            let Some((seat, _)) = seat else { continue };
            // Small events, seen at once.
            let _ = stream.set_nodelay(true);
            let io = Patient {
                stream,
                stalled: None,
                unasked: None,
                progress: Arc::clone(&self.progress),
                patience: self.patience,
                seats: Arc::clone(&self.seats),
                seat,
            };
            return (io, peer);
        }
    }

    fn local_addr(&self) -> io::Result<Self::Addr> {
        self.inner.local_addr()
    }
}

/// One connection.
#[derive(Debug)]
pub(crate) struct Patient {
    stream: TcpStream,
    /// Ends the patience with a write.
    stalled: Option<Pin<Box<Sleep>>>,
    /// Ends the patience with who asks for nothing.
    unasked: Option<Pin<Box<Sleep>>>,
    progress: Arc<Progress>,
    patience: Duration,
    seats: Arc<Seats>,
    seat: Arc<Seat>,
}

impl Drop for Patient {
    fn drop(&mut self) {
        self.seats.leave(&self.seat);
    }
}

impl Patient {
    pub(crate) fn seat(&self) -> Arc<Seat> {
        Arc::clone(&self.seat)
    }

    /// Ready when nothing has been asked for too long, or the seat was taken away.
    fn poll_leave(&mut self, context: &mut Context<'_>) -> Poll<()> {
        let since = match self.seat.verdict(context) {
            Verdict::Leave => return Poll::Ready(()),
            Verdict::WaitSince(since) => since,
            Verdict::Stay => {
                self.unasked = None;
                return Poll::Pending;
            }
        };
        let until = since + self.patience;
        let timer = self
            .unasked
            .get_or_insert_with(|| Box::pin(tokio::time::sleep_until(until)));
        if timer.deadline() != until {
            timer.as_mut().reset(until);
        }
        timer.as_mut().poll(context)
    }

    fn settle<T>(
        &mut self,
        context: &mut Context<'_>,
        result: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if result.is_ready() {
            self.stalled = None;
            self.seat.moves();
            return result;
        }
        if self.seat.is_given_up() {
            return Poll::Ready(Err(io::ErrorKind::ConnectionAborted.into()));
        }
        let until = Instant::now() + self.patience;
        let timer = self
            .stalled
            .get_or_insert_with(|| Box::pin(tokio::time::sleep_until(until)));
        ready!(timer.as_mut().poll(context));
        count(&self.progress.streams_dropped);
        Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncRead for Patient {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        // Also where there is something to read: whoever goes on sending would stay for ever.
        if self.seat.is_given_up() {
            return Poll::Ready(Err(io::ErrorKind::ConnectionAborted.into()));
        }
        if Pin::new(&mut self.stream)
            .poll_read(context, buffer)?
            .is_ready()
        {
            return Poll::Ready(Ok(()));
        }
        ready!(self.poll_leave(context));
        Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncWrite for Patient {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let result = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.settle(context, result)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffers: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let result = Pin::new(&mut self.stream).poll_write_vectored(context, buffers);
        self.settle(context, result)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
