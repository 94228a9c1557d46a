//! A TCP proxy on loopback that behaves like a bad link: late, thin, cut, silent, or closed in one direction, an answer lost.
//!
//! Faults are counted in bytes from the start of each connection, so that a test can cut at every position. The kernel
//! of a test machine need not have a network emulator.

use std::io::{self, Read as _, Write as _};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

/// What happens to the bytes of one direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Fault {
    /// They pass.
    #[default]
    None,
    /// After this many bytes the connection is cut, both ways.
    Cut(u64),
    /// After this many bytes nothing more passes, and nobody is told.
    Stall(u64),
    /// The byte after this many is changed; all pass.
    Flip(u64),
    /// After this many bytes this direction is closed in good order; the other one goes on.
    HalfClose(u64),
    /// The next bytes after this many are read and thrown away, and the connection is cut: on the way back, an answer that is lost
    /// although the depot has acted.
    Lose(u64),
}

/// How the link behaves for a connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Link {
    /// What happens on the way to the depot.
    pub up: Fault,
    /// What happens on the way back.
    pub down: Fault,
    /// How late every piece is, each way.
    pub delay: Duration,
    /// Bytes a second, each way; as many as come where there is none.
    pub rate: Option<u32>,
}

/// How the next connection's link behaves.
type Plan = Box<dyn FnMut() -> Link + Send>;

struct Shared {
    target: SocketAddr,
    plan: Mutex<Plan>,
    open: Mutex<Vec<TcpStream>>,
    stop: AtomicBool,
    connections: AtomicU64,
    up_bytes: AtomicU64,
}

/// See the module. Ends when dropped.
pub struct FaultProxy {
    address: SocketAddr,
    shared: Arc<Shared>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl FaultProxy {
    /// A proxy before `target`.
    ///
    /// # Errors
    /// Where no port can be had.
    pub fn start(target: SocketAddr) -> io::Result<Self> {
        let listener = TcpListener::bind("127.0.0.1:0")?;
        let address = listener.local_addr()?;
        let shared = Arc::new(Shared {
            target,
            plan: Mutex::new(Box::new(Link::default)),
            open: Mutex::default(),
            stop: AtomicBool::new(false),
            connections: AtomicU64::new(0),
            up_bytes: AtomicU64::new(0),
        });
        let for_thread = Arc::clone(&shared);
        thread::spawn(move || {
            for client in listener.incoming() {
                if for_thread.stop.load(Ordering::SeqCst) {
                    break;
                }
                if let Ok(client) = client {
                    join(&for_thread, client);
                }
            }
        });
        Ok(Self { address, shared })
    }

    /// Its address as a URL.
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// How the link behaves for connections made from now on.
    pub fn set(&self, link: Link) {
        self.set_each(move || link);
    }

    /// The same, asked anew for each connection.
    pub fn set_each(&self, plan: impl FnMut() -> Link + Send + 'static) {
        *locked(&self.shared.plan) = Box::new(plan);
    }

    /// Cuts every connection there is.
    pub fn cut_all(&self) {
        for stream in locked(&self.shared.open).drain(..) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    /// How many connections were made.
    pub fn connections(&self) -> u64 {
        self.shared.connections.load(Ordering::SeqCst)
    }

    /// How many bytes went to the depot over all connections.
    pub fn up_bytes(&self) -> u64 {
        self.shared.up_bytes.load(Ordering::SeqCst)
    }
}

impl Drop for FaultProxy {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::SeqCst);
        self.cut_all();
        // Wakes the accepting thread, which then sees that it is to stop.
        let _ = TcpStream::connect(self.address);
    }
}

fn join(shared: &Arc<Shared>, client: TcpStream) {
    shared.connections.fetch_add(1, Ordering::SeqCst);
    let link = locked(&shared.plan)();
    let Ok(depot) = TcpStream::connect(shared.target) else { return };
    let (Ok(client_2), Ok(depot_2), Ok(client_3), Ok(depot_3)) =
        (client.try_clone(), depot.try_clone(), client.try_clone(), depot.try_clone())
    else {
        return;
    };
    locked(&shared.open).extend([client_3, depot_3]);
    let counting = Arc::clone(shared);
    thread::spawn(move || {
        pump(client, depot, link.up, link, |count| {
            counting.up_bytes.fetch_add(count, Ordering::SeqCst);
        });
    });
    thread::spawn(move || pump(depot_2, client_2, link.down, link, |_| {}));
}

fn pump(mut from: TcpStream, mut to: TcpStream, fault: Fault, link: Link, count: impl Fn(u64)) {
    let mut passed = 0_u64;
    // A thin link passes pieces of a twentieth of a second.
    let piece = link.rate.map_or(16 * 1024, |rate| (rate / 20).clamp(64, 16 * 1024));
    let mut buffer = vec![0; piece as usize];
    let limit = match fault {
        Fault::None | Fault::Flip(_) => u64::MAX,
        Fault::Lose(after) | Fault::Cut(after) | Fault::Stall(after) | Fault::HalfClose(after) => after,
    };
    loop {
        if passed >= limit {
            match fault {
                Fault::Lose(_) | Fault::Cut(_) => {
                    if matches!(fault, Fault::Lose(_)) {
                        let _ = from.read(&mut buffer);
                    }
                    let _ = from.shutdown(Shutdown::Both);
                    let _ = to.shutdown(Shutdown::Both);
                }
                Fault::HalfClose(_) => drop(to.shutdown(Shutdown::Write)),
                // Takes no more bytes and closes nothing; ends when the proxy closes the connection.
                Fault::Stall(_) => {
                    while to.peer_addr().is_ok() && !closed(&to) {
                        thread::sleep(Duration::from_millis(20));
                    }
                }
                Fault::None | Fault::Flip(_) => {}
            }
            return;
        }
        let most = usize::try_from(limit - passed).unwrap_or(usize::MAX).min(buffer.len());
        let Some(space) = buffer.get_mut(..most) else { return };
        match from.read(space) {
            Ok(read) if read > 0 => {
                if let Fault::Flip(at) = fault
                    && let Some(byte) = at.checked_sub(passed).and_then(|at| space.get_mut(..read)?.get_mut(usize::try_from(at).ok()?))
                {
                    *byte ^= 0x20;
                }
                let takes = link.rate.map_or(Duration::ZERO, |rate| Duration::from_secs_f64(read as f64 / f64::from(rate.max(1))));
                let late = link.delay + takes;
                if !late.is_zero() {
                    thread::sleep(late);
                }
                if to.write_all(space.get(..read).unwrap_or_default()).is_err() {
                    let _ = from.shutdown(Shutdown::Both);
                    return;
                }
                passed += read as u64;
                count(read as u64);
            }
            // The end of one direction is passed on; the other goes on.
            _ => {
                let _ = to.shutdown(Shutdown::Write);
                return;
            }
        }
    }
}

/// Whether writing to a stream can still reach anybody.
fn closed(stream: &TcpStream) -> bool {
    matches!(stream.take_error(), Ok(Some(_)) | Err(_))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Answers every connection with what it read, upper-cased, once the client closed its direction.
    fn echo() -> SocketAddr {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        thread::spawn(move || {
            for stream in listener.incoming() {
                let mut stream = stream.unwrap();
                let mut text = Vec::new();
                let _ = stream.read_to_end(&mut text);
                let _ = stream.write_all(&text.to_ascii_uppercase());
            }
        });
        address
    }

    fn ask(proxy: &FaultProxy, text: &[u8]) -> Vec<u8> {
        let mut stream = TcpStream::connect(proxy.address).unwrap();
        let _ = stream.write_all(text);
        let _ = stream.shutdown(Shutdown::Write);
        let mut answer = Vec::new();
        stream.set_read_timeout(Some(Duration::from_millis(400))).unwrap();
        let _ = stream.read_to_end(&mut answer);
        answer
    }

    #[test]
    fn each_fault_does_what_it_says() {
        let proxy = FaultProxy::start(echo()).unwrap();
        assert_eq!(ask(&proxy, b"hello"), b"HELLO");
        proxy.set(Link { up: Fault::HalfClose(3), ..Link::default() });
        assert_eq!(ask(&proxy, b"hello"), b"HEL");
        proxy.set(Link { down: Fault::Cut(2), ..Link::default() });
        assert_eq!(ask(&proxy, b"hello"), b"HE");
        proxy.set(Link { down: Fault::Flip(1), ..Link::default() });
        assert_eq!(ask(&proxy, b"hello"), b"HeLLO");
        proxy.set(Link { down: Fault::Lose(0), ..Link::default() });
        assert_eq!(ask(&proxy, b"hello"), b"");
        proxy.set(Link { rate: Some(100), ..Link::default() });
        let begun = std::time::Instant::now();
        assert_eq!(ask(&proxy, b"hello to all"), b"HELLO TO ALL");
        assert!(begun.elapsed() > Duration::from_millis(200), "12 bytes there and back at 100 a second");
        // Last, since it leaves the echo waiting.
        proxy.set(Link { up: Fault::Stall(4), ..Link::default() });
        assert_eq!(ask(&proxy, b"hello"), b"");
        assert_eq!(proxy.connections(), 7);
        assert_eq!(proxy.up_bytes(), 5 + 3 + 5 + 5 + 5 + 12 + 4);
    }
}
