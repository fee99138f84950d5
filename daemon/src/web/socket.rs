//! Connections that give up on a reader who does not read.
//!
//! A page on a tablet that fell asleep keeps its connection open and takes nothing. When a write
//! has not moved for [`super::PATIENCE`] the connection is closed; the page reconnects when it wakes and
//! asks for what it missed.

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

/// A listener whose connections have patience.
#[derive(Debug)]
pub(crate) struct PatientListener {
    pub(crate) inner: TcpListener,
    pub(crate) progress: Arc<Progress>,
    pub(crate) patience: Duration,
}

impl axum::serve::Listener for PatientListener {
    type Io = Patient;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        let (stream, peer) = axum::serve::Listener::accept(&mut self.inner).await;
        // Small events, seen at once.
        let _ = stream.set_nodelay(true);
        let io = Patient {
            stream,
            stalled: None,
            progress: Arc::clone(&self.progress),
            patience: self.patience,
        };
        (io, peer)
    }

    fn local_addr(&self) -> io::Result<Self::Addr> {
        self.inner.local_addr()
    }
}

/// One connection.
#[derive(Debug)]
pub(crate) struct Patient {
    stream: TcpStream,
    stalled: Option<Pin<Box<Sleep>>>,
    progress: Arc<Progress>,
    patience: Duration,
}

impl Patient {
    fn settle<T>(
        &mut self,
        context: &mut Context<'_>,
        result: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if result.is_ready() {
            self.stalled = None;
            return result;
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
        Pin::new(&mut self.stream).poll_read(context, buffer)
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
