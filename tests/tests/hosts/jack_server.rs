//! A JACK server without a sound card, and a client that plays a sound in a loop and keeps what comes back.
//!
//! The server is Debian's `jackd2` with its dummy driver. It doesn't wait for a late client: on a busy machine the
//! sound has gaps, and a test looks for a stretch without one. Its name is in `JACK_DEFAULT_SERVER`, which every client
//! reads.

use jack::{
    AsyncClient, AudioIn, AudioOut, Client, ClientOptions, Control, MidiOut, Port, PortFlags, ProcessHandler,
    ProcessScope, RawMidi,
};
use std::collections::VecDeque;
use std::fs::File;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use sumproof_host::Stereo;

/// The variable with the server's name.
pub const SERVER: &str = "JACK_DEFAULT_SERVER";

/// Number of returned frames kept.
const KEPT: usize = 1 << 19;

/// A running server, stopped on drop.
pub struct Server {
    process: Child,
    _only: File,
}

impl Server {
    /// Starts it and waits until it answers.
    ///
    /// # Panics
    /// When it doesn't start, or `JACK_DEFAULT_SERVER` isn't set: `cargo xtask test` names a server that nobody else
    /// uses.
    pub fn start(rate_hz: u32, frames: u32) -> Self {
        let name =
            std::env::var(SERVER).unwrap_or_else(|_| panic!("{SERVER} is not set: run `cargo xtask test`"));
        let path = std::env::temp_dir().join(format!("sumproof-tests-{name}.lock"));
        let only = File::create(&path).unwrap();
        only.lock().unwrap();
        let process = Command::new("jackd")
            .args(["--name", &name, "--no-realtime", "-d", "dummy"])
            .args(["--rate", &rate_hz.to_string(), "--period", &frames.to_string()])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("jackd (Debian's jackd2) can't be started");
        let server = Self { process, _only: only };
        // In a separate process each time: the library doesn't recover from a server that is still starting.
        for _ in 0..300 {
            let said = Command::new("jack_wait")
                .args(["--server", &name, "--check"])
                .stdin(Stdio::null())
                .stderr(Stdio::null())
                .output()
                .expect("jack_wait (Debian's jackd2) can't be started");
            // It exits with 0 in any case.
            if String::from_utf8_lossy(&said.stdout).trim() == "running" {
                return server;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("jackd doesn't answer");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It removes its shared memory when it is terminated by a signal.
        let _ = Command::new("kill").arg(self.process.id().to_string()).status();
        let _ = self.process.wait();
    }
}

/// A client that plays and records.
pub struct Player {
    client: AsyncClient<(), Process>,
    heard: Arc<Mutex<VecDeque<[f32; 2]>>>,
    midi: Sender<[u8; 3]>,
}

/// Its callback on the server's thread.
struct Process {
    out: [Port<AudioOut>; 2],
    back: [Port<AudioIn>; 2],
    midi: Port<MidiOut>,
    messages: Receiver<[u8; 3]>,
    sound: Stereo,
    at: usize,
    heard: Arc<Mutex<VecDeque<[f32; 2]>>>,
}

impl ProcessHandler for Process {
    fn process(&mut self, _: &Client, scope: &ProcessScope) -> Control {
        let length = self.sound.len_samples();
        for (port, channel) in self.out.iter_mut().zip([&self.sound.left, &self.sound.right]) {
            for (at, sample) in port.as_mut_slice(scope).iter_mut().enumerate() {
                *sample = channel[(self.at + at) % length];
            }
        }
        self.at = (self.at + scope.n_frames() as usize) % length;
        let mut midi = self.midi.writer(scope);
        for message in self.messages.try_iter() {
            let program_change = message[0] & 0xF0 == 0xC0;
            let bytes = &message[..if program_change { 2 } else { 3 }];
            // A block has room for far more messages than a test sends.
            let _ = midi.write(&RawMidi { time: 0, bytes });
        }
        let [left, right] = [&self.back[0], &self.back[1]].map(|port| port.as_slice(scope));
        let mut heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        heard.extend(left.iter().zip(right).map(|(&left, &right)| [left, right]));
        let too_many = heard.len().saturating_sub(KEPT);
        heard.drain(..too_many);
        Control::Continue
    }
}

impl Player {
    /// Starts to play, without connections.
    pub fn start(sound: Stereo) -> Self {
        let (client, _) = Client::new("sumproof-test-player", ClientOptions::NO_START_SERVER).unwrap();
        let out = |name| client.register_port(name, AudioOut::default()).unwrap();
        let back = |name| client.register_port(name, AudioIn::default()).unwrap();
        let heard = Arc::default();
        let (midi, messages) = channel();
        let process = Process {
            out: [out("out_1"), out("out_2")],
            back: [back("back_1"), back("back_2")],
            midi: client.register_port("midi_out", MidiOut::default()).unwrap(),
            messages,
            sound,
            at: 0,
            heard: Arc::clone(&heard),
        };
        let client = client.activate_async((), process).unwrap();
        Self { client, heard, midi }
    }

    /// Sends a MIDI message with the next block: status and data; a program change has only the first byte of data.
    ///
    /// # Panics
    /// When the client has ended.
    pub fn send(&self, message: [u8; 3]) {
        self.midi.send(message).unwrap();
    }

    /// Connects the output of [`Self::send`] with another client's MIDI input; `false` while that isn't possible yet.
    pub fn connect_midi(&self, port: &str) -> bool {
        let client = self.client.as_client();
        let own = format!("{}:midi_out", client.name());
        matches!(
            client.connect_ports_by_name(&own, port),
            Ok(()) | Err(jack::Error::PortAlreadyConnected(..))
        )
    }

    /// Names of another client's ports, inputs first.
    pub fn ports_of(&self, client: &str) -> (Vec<String>, Vec<String>) {
        let pattern = format!("^{client}:");
        let ports = |flags| {
            self.client
                .as_client()
                .ports(Some(&pattern), Some("audio"), flags)
        };
        (ports(PortFlags::IS_INPUT), ports(PortFlags::IS_OUTPUT))
    }

    /// Connects its outputs with `inputs`, and `outputs` with its inputs; `false` while that isn't possible yet,
    /// because their client has only just created them.
    pub fn connect(&self, inputs: &[String], outputs: &[String]) -> bool {
        let client = self.client.as_client();
        let own = |port: &str, at: usize| format!("{}:{port}_{}", client.name(), at + 1);
        let joined = |from: &str, to: &str| {
            matches!(
                client.connect_ports_by_name(from, to),
                Ok(()) | Err(jack::Error::PortAlreadyConnected(..))
            )
        };
        let (mut inputs, mut outputs) = (inputs.iter().enumerate(), outputs.iter().enumerate());
        inputs.all(|(at, port)| joined(&own("out", at), port))
            && outputs.all(|(at, port)| joined(port, &own("back", at)))
    }

    /// The next returned frames.
    ///
    /// # Panics
    /// When no more frames come.
    pub fn listen(&self, frames: usize) -> Vec<[f32; 2]> {
        let lock = || self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        lock().clear();
        let (mut before, mut idle) = (0, 0);
        loop {
            std::thread::sleep(Duration::from_millis(50));
            let mut heard = lock();
            if heard.len() >= frames {
                return heard.drain(..frames).collect();
            }
            idle = if heard.len() > before { 0 } else { idle + 1 };
            assert!(idle < 1200, "the JACK server goes on no more");
            before = heard.len();
        }
    }
}
