//! The speaker's side: listens on this machine only, lets one editor in, and drives a device with what it sends. It must not
//! know which device that is, or who reads what it says.

use super::desk::Desk;
use super::said::Said;
use super::shelf::Shelf;
use super::visit::{House, accept};
use crate::sound::channel::RenderHandle;
use crate::sound::units::Frame;
use crate::sound::{DeviceEvent, OutputError};
use std::io;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::thread;

/// Messages that may wait between a listener and the device: a schedule can be large.
const QUEUE: usize = 2;
/// A device that a speaker drives.
pub(crate) trait Device {
    /// The end that takes commands.
    fn handle(&mut self) -> &mut RenderHandle;

    /// Frames that are rendered but not heard yet when a block has just been rendered.
    fn ahead(&self) -> Frame;

    /// Frames of one of the device's buffers.
    fn grain(&self) -> Frame;

    /// Looks after the device: if it is lost it is opened again, and what has become of it is told. After
    /// [`DeviceEvent::ReopenedAtNewRate`] the handle is another one.
    fn tick(&mut self) -> Option<DeviceEvent>;
}

/// A speaker that listens.
#[derive(Debug)]
pub(crate) struct Speaker {
    listener: TcpListener,
    port: u16,
}

impl Speaker {
    /// Listens on a port of 127.0.0.1, which no other machine reaches; 0 takes any free one.
    ///
    /// # Errors
    /// The system's reason, if the port cannot be had.
    pub(crate) fn bind(port: u16) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))?;
        let port = listener.local_addr()?.port();
        Ok(Self { listener, port })
    }

    /// The port.
    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    /// Serves one editor after the other until `stop` is set; `say` is told what happens.
    ///
    /// # Errors
    /// [`OutputError`] if the system gives no random numbers or threads.
    pub(crate) fn run(
        self,
        mut device: Box<dyn Device>,
        stop: &AtomicBool,
        say: &mut dyn FnMut(Said),
    ) -> Result<(), OutputError> {
        let hertz = device.handle().rate().hertz();
        let (events, incoming) = mpsc::sync_channel(QUEUE);
        let house = Arc::new(House {
            door: Mutex::default(),
            waiting: AtomicUsize::new(0),
            hertz: AtomicU32::new(hertz),
            ending: AtomicBool::new(false),
            shelf: Mutex::new(Shelf::default()),
            events,
        });
        let token = house.door().renew().map_err(|e| OutputError::new(&e))?;
        say(Said::Token(token));
        let port = self.port;
        let accepting = {
            let house = Arc::clone(&house);
            let accept = move || accept(&self.listener, &house);
            thread::Builder::new().name("door".into()).spawn(accept).map_err(|e| OutputError::new(&e.to_string()))?
        };
        let mut desk = Desk::new(&house, device, say);
        while !stop.load(Ordering::Relaxed) {
            match incoming.recv_timeout(desk.patience()) {
                Ok(event) => desk.take(event),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            desk.look();
        }
        desk.end();
        house.ending.store(true, Ordering::Relaxed);
        drop(incoming);
        // Wakes the thread that waits for connections.
        drop(TcpStream::connect((Ipv4Addr::LOCALHOST, port)));
        drop(accepting.join());
        Ok(())
    }
}
