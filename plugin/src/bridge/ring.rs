//! The ring between the audio thread and the analysis: one ring of frames and one of commands, both single-producer,
//! single-consumer, both allocated by [`ring`] and never after.
//!
//! Frames cross unchanged, invalid ones included: the analysis knows which to ignore, and an invalid frame marks the
//! place where an average breaks. A command takes effect exactly between two frames, because it carries the number of
//! frames pushed before it. Frames that found no room are counted, and the count crosses as a command at the place
//! where they are missing; no later frame is let through before that command.

use std::mem::MaybeUninit;

use rtrb::{Consumer, Producer, PushError, RingBuffer};
use sumproof_core::session::take::Pass;

use crate::bridge::line_check::{End, Signal};

/// One frame: left and right and, in the plugin with a side-chain, the two channels of the reference.
pub type Frame<const C: usize> = [f32; C];

/// Commands that fit between two looks of the analysis. A block sends a handful at most.
pub const COMMAND_CAPACITY: usize = 256;

/// Commands from the audio side to the analysis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// A take begins with the next frame.
    StartTake(Pass),
    /// The take ended with the last frame.
    StopTake,
    /// The last phrase is to become a take.
    TakePhrase,
    /// The next name is skipped.
    NextName,
    /// The preset of that number, from 0, is being played: it names the next take.
    Program(u8),
    /// The next frame does not follow the last: the host reset, or the plugin was bypassed.
    Break,
    /// This many frames are missing here, because the ring was full.
    Lost(u64),
    /// A line check's signal goes out from the next frame on; its number.
    CheckBegins(u64),
    /// The signal ended with the last frame; its number.
    CheckEnds(u64, End),
}

#[derive(Debug, Clone, Copy)]
struct Placed {
    /// Frames pushed before the command.
    at: u64,
    command: Command,
}

/// Both ends of a ring that holds `frame_capacity` frames.
pub fn ring<const C: usize>(frame_capacity: usize) -> (AudioEnd<C>, AnalysisEnd<C>) {
    let (frames_in, frames_out) = RingBuffer::new(frame_capacity);
    let (commands_in, commands_out) = RingBuffer::new(COMMAND_CAPACITY);
    // There is one signal at a time, so both directions have room for it.
    let (orders_in, orders_out) = RingBuffer::new(1);
    let (spent_in, spent_out) = RingBuffer::new(1);
    (
        AudioEnd {
            frames: frames_in,
            commands: commands_in,
            orders: orders_out,
            spent: spent_in,
            pushed: 0,
            unsaid: 0,
        },
        AnalysisEnd {
            frames: frames_out,
            commands: commands_out,
            orders: orders_in,
            spent: spent_out,
            is_out: false,
            popped: 0,
        },
    )
}

/// The audio thread's end.
///
/// # Real-time
/// No method allocates, locks, waits or makes a system call; all are O(frames).
pub struct AudioEnd<const C: usize> {
    frames: Producer<Frame<C>>,
    commands: Producer<Placed>,
    orders: Consumer<Box<Signal>>,
    spent: Producer<Box<Signal>>,
    pushed: u64,
    /// Frames dropped that the analysis has not been told of.
    unsaid: u64,
}

impl<const C: usize> AudioEnd<C> {
    /// Number of frames the ring has room for.
    pub fn room(&self) -> usize {
        self.frames.slots()
    }

    /// Sends a command that takes effect before the next frame pushed. Returns `false` when there was no room; the
    /// caller should try again with its next block.
    #[must_use]
    pub fn send(&mut self, command: Command) -> bool {
        self.report_lost() && self.place(command)
    }

    /// Pushes frames of all channels, as many as the shorter of the first two has (shorter further channels count as
    /// silent), and returns how many found no room.
    pub fn push(&mut self, channels: [&[f32]; C]) -> usize {
        let wanted = frames_in(&channels);
        let taken = if self.report_lost() {
            self.write(channels, wanted.min(self.frames.slots()))
        } else {
            0
        };
        self.unsaid += (wanted - taken) as u64;
        wanted - taken
    }

    /// Takes the signal that was ordered, if there is one.
    pub fn take_order(&mut self) -> Option<Box<Signal>> {
        self.orders.pop().ok()
    }

    /// Gives a signal back, to be freed off the audio thread.
    ///
    /// # Errors
    /// Returns the signal where there is no room, which can't happen for a signal that came from here.
    pub fn give_back(&mut self, signal: Box<Signal>) -> Result<(), Box<Signal>> {
        self.spent.push(signal).map_err(|PushError::Full(signal)| signal)
    }

    fn write(&mut self, channels: [&[f32]; C], count: usize) -> usize {
        let Ok(mut chunk) = self.frames.write_chunk_uninit(count) else {
            return 0;
        };
        // The two parts before and after the ring's wrap-around.
        let (first, second) = chunk.as_mut_slices();
        let rest = channels.map(|channel| channel.get(first.len()..).unwrap_or_default());
        interleave(channels, first);
        interleave(rest, second);
        // SAFETY: both parts were just written in full: `interleave` writes every slot.
        unsafe { chunk.commit_all() };
        self.pushed += count as u64;
        count
    }

    fn report_lost(&mut self) -> bool {
        if self.unsaid > 0 && self.place(Command::Lost(self.unsaid)) {
            self.unsaid = 0;
        }
        self.unsaid == 0
    }

    fn place(&mut self, command: Command) -> bool {
        self.commands
            .push(Placed {
                at: self.pushed,
                command,
            })
            .is_ok()
    }
}

/// Writes every slot: a frame of all channels, silent where a channel has no more.
fn interleave<const C: usize>(channels: [&[f32]; C], slots: &mut [MaybeUninit<Frame<C>>]) {
    let count = slots.len();
    if channels.iter().all(|channel| channel.len() >= count) {
        // With equal lengths the compiler drops the bounds checks and vectorises.
        let channels = channels.map(|channel| &channel[..count]);
        for (at, slot) in slots.iter_mut().enumerate() {
            slot.write(std::array::from_fn(|channel| channels[channel][at]));
        }
    } else {
        for (at, slot) in slots.iter_mut().enumerate() {
            slot.write(channels.map(|channel| channel.get(at).copied().unwrap_or(0.0)));
        }
    }
}

/// Number of frames in the channels: as many as the shorter of the first two has.
pub fn frames_in(channels: &[&[f32]]) -> usize {
    channels
        .iter()
        .take(2)
        .map(|channel| channel.len())
        .min()
        .unwrap_or(0)
}

/// What the analysis receives, in order.
#[derive(Debug, Clone, Copy)]
pub enum Event<'a, const C: usize> {
    /// Frames that follow one another.
    Frames(&'a [Frame<C>]),
    /// A command between frames.
    Command(Command),
}

/// The analysis' end.
pub struct AnalysisEnd<const C: usize> {
    frames: Consumer<Frame<C>>,
    commands: Consumer<Placed>,
    orders: Producer<Box<Signal>>,
    spent: Consumer<Box<Signal>>,
    /// A signal is on the audio thread's side.
    is_out: bool,
    popped: u64,
}

impl<const C: usize> AnalysisEnd<C> {
    /// Number of frames that wait.
    pub fn waiting(&self) -> usize {
        self.frames.slots()
    }

    /// Whether neither frames nor commands wait.
    pub fn is_empty(&mut self) -> bool {
        self.frames.slots() == 0 && self.commands.peek().is_err()
    }

    /// Orders a signal. Returns `false` while another one is on the audio thread's side.
    #[must_use]
    pub fn order(&mut self, signal: Box<Signal>) -> bool {
        self.free_spent();
        if self.is_out {
            return false;
        }
        self.is_out = self.orders.push(signal).is_ok();
        self.is_out
    }

    /// Frees a signal that came back. Not for the audio thread.
    pub fn free_spent(&mut self) {
        if self.spent.pop().is_ok() {
            self.is_out = false;
        }
    }

    /// Hands over what waits, at most `limit` frames, in order. Returns the numbers of frames and of commands.
    pub fn drain(&mut self, limit: usize, mut take: impl FnMut(Event<C>)) -> (usize, usize) {
        // Frames first, commands after: a command is written before the frames that follow it, so a reader that sees
        // those frames sees the command as well.
        let count = self.frames.slots().min(limit);
        let Ok(chunk) = self.frames.read_chunk(count) else {
            return (0, 0);
        };
        let mut commands = 0;
        let mut position = self.popped;
        for mut part in <[&[Frame<C>]; 2]>::from(chunk.as_slices()) {
            loop {
                let next = self.commands.peek().ok().copied();
                if let Some(placed) = next.filter(|placed| placed.at <= position) {
                    // The command that was peeked at is there to be popped.
                    let _ = self.commands.pop();
                    commands += 1;
                    take(Event::Command(placed.command));
                    continue;
                }
                if part.is_empty() {
                    break;
                }
                let until = next.map_or(part.len(), |placed| {
                    usize::try_from(placed.at - position).map_or(part.len(), |ahead| ahead.min(part.len()))
                });
                let (now, later) = part.split_at(until);
                take(Event::Frames(now));
                position += now.len() as u64;
                part = later;
            }
        }
        chunk.commit_all();
        self.popped = position;
        (count, commands)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything drained, as text: the left samples of each run of frames, and the commands between.
    fn drained(end: &mut AnalysisEnd<2>, limit: usize) -> Vec<String> {
        let mut seen: Vec<String> = Vec::new();
        end.drain(limit, |event| {
            seen.push(match event {
                Event::Frames(frames) => frames
                    .iter()
                    .map(|frame| format!("{}", frame[0]))
                    .collect::<Vec<_>>()
                    .join(" "),
                Event::Command(command) => format!("{command:?}"),
            });
        });
        seen
    }

    fn ramp(from: u16, to: u16) -> Vec<f32> {
        (from..to).map(f32::from).collect()
    }

    fn push(end: &mut AudioEnd<2>, from: u16, to: u16) -> usize {
        end.push([&ramp(from, to), &ramp(from, to)])
    }

    #[test]
    fn frames_and_commands_keep_their_order() {
        let (mut audio, mut analysis) = ring(64);
        assert!(audio.send(Command::StartTake(Pass::Dry)));
        assert_eq!(push(&mut audio, 0, 3), 0);
        assert!(audio.send(Command::Break));
        assert!(audio.send(Command::StopTake));
        assert_eq!(push(&mut audio, 3, 5), 0);
        assert!(audio.send(Command::StartTake(Pass::Wet)));
        assert_eq!(
            drained(&mut analysis, usize::MAX),
            [
                "StartTake(Dry)",
                "0 1 2",
                "Break",
                "StopTake",
                "3 4",
                "StartTake(Wet)"
            ]
        );
        assert!(drained(&mut analysis, usize::MAX).is_empty());
    }

    #[test]
    fn a_limit_stops_before_later_commands() {
        let (mut audio, mut analysis) = ring(64);
        push(&mut audio, 0, 4);
        assert!(audio.send(Command::Break));
        push(&mut audio, 4, 6);
        assert_eq!(drained(&mut analysis, 3), ["0 1 2"]);
        assert_eq!(drained(&mut analysis, 3), ["3", "Break", "4 5"]);
    }

    #[test]
    fn order_survives_the_wrap_of_the_ring() {
        let (mut audio, mut analysis) = ring(5);
        let mut next = 0;
        for round in 0..20u16 {
            let count = round % 5 + 1;
            assert!(audio.send(Command::Break));
            assert_eq!(push(&mut audio, next, next + count), 0);
            let flat = drained(&mut analysis, usize::MAX).join(" ");
            let expected: Vec<String> = (next..next + count).map(|value| value.to_string()).collect();
            assert_eq!(flat, format!("Break {}", expected.join(" ")));
            next += count;
        }
    }

    #[test]
    fn what_finds_no_room_is_counted_where_it_is_missing() {
        let (mut audio, mut analysis) = ring(4);
        assert_eq!(push(&mut audio, 0, 6), 2);
        assert_eq!(push(&mut audio, 6, 9), 3);
        assert_eq!(audio.room(), 0);
        assert_eq!(drained(&mut analysis, 2), ["0 1"]);
        assert_eq!(push(&mut audio, 9, 12), 1);
        // The first two of the five were reported before the ring's last frames were even read; what counts is the
        // place.
        assert_eq!(
            drained(&mut analysis, usize::MAX),
            ["2 3", "Lost(2)", "Lost(3)", "9 10"]
        );
        assert_eq!(push(&mut audio, 12, 13), 0);
        assert_eq!(drained(&mut analysis, usize::MAX), ["Lost(1)", "12"]);
    }

    #[test]
    fn a_full_command_ring_lets_no_frame_past_an_unsaid_loss() {
        let (mut audio, mut analysis) = ring(4);
        push(&mut audio, 0, 4);
        for _ in 0..COMMAND_CAPACITY {
            assert!(audio.send(Command::Break));
        }
        assert!(!audio.send(Command::StopTake));
        assert_eq!(push(&mut audio, 4, 5), 1);
        // Room for frames, but none for reporting that one is missing: the next ones are dropped and counted too.
        let mut frames = 0;
        let end = &mut analysis;
        let Ok(chunk) = end.frames.read_chunk(4) else {
            panic!("four frames wait")
        };
        chunk.commit_all();
        end.popped += 4;
        assert_eq!(push(&mut audio, 5, 7), 2);
        let mut lost = 0;
        end.drain(usize::MAX, |event| match event {
            Event::Frames(run) => frames += run.len(),
            Event::Command(Command::Lost(count)) => lost += count,
            Event::Command(_) => {}
        });
        assert_eq!((frames, lost), (0, 0));
        assert_eq!(push(&mut audio, 7, 9), 0);
        end.drain(usize::MAX, |event| match event {
            Event::Frames(run) => frames += run.len(),
            Event::Command(Command::Lost(count)) => lost += count,
            Event::Command(_) => {}
        });
        assert_eq!((frames, lost), (2, 3));
    }

    #[test]
    fn channels_of_unequal_length_never_read_past_the_shorter() {
        let (mut audio, mut analysis) = ring(8);
        assert_eq!(audio.push([&[1.0, 2.0, 3.0], &[1.0]]), 0);
        assert_eq!(audio.push([&[], &[]]), 0);
        assert_eq!(drained(&mut analysis, usize::MAX), ["1"]);
    }

    #[test]
    fn a_reference_that_is_too_short_is_silent() {
        let (mut audio, mut analysis) = ring(8);
        assert_eq!(audio.push([&[1.0, 2.0], &[3.0, 4.0], &[5.0], &[]]), 0);
        let mut seen = Vec::new();
        analysis.drain(usize::MAX, |event| {
            if let Event::Frames(frames) = event {
                seen.extend_from_slice(frames);
            }
        });
        assert_eq!(seen, [[1.0, 3.0, 5.0, 0.0], [2.0, 4.0, 0.0, 0.0]]);
    }

    #[test]
    fn one_signal_at_a_time_goes_over_and_comes_back() {
        use sumproof_core::line_check::{Generator, Plan, SignalSettings};

        let (mut audio, mut analysis) = ring::<2>(8);
        let signal = |run| {
            Box::new(Signal {
                run,
                generator: Generator::new(Plan::new(SignalSettings::default()).expect("the usual"), 48_000.0),
                behind_frames: 0,
            })
        };
        assert!(audio.take_order().is_none());
        assert!(analysis.order(signal(1)) && !analysis.order(signal(2)));
        let taken = audio.take_order().expect("the order");
        assert_eq!(taken.run, 1);
        assert!(!analysis.order(signal(3)) && audio.take_order().is_none());
        assert!(audio.give_back(taken).is_ok());
        assert!(analysis.order(signal(4)));
    }

    #[test]
    fn both_ends_work_from_their_own_threads() {
        let (mut audio, mut analysis) = ring(97);
        let total: u64 = 50_000;
        let producer = std::thread::Builder::new().name("audio".into()).spawn(move || {
            let mut sent = 0;
            let mut dropped = 0;
            while sent < total {
                let count = (sent % 41 + 1).min(total - sent);
                // Values above 2^24 would not be exact; the ramp stays far below.
                let block: Vec<f32> = (sent..sent + count).map(|value| value as f32).collect();
                dropped += audio.push([&block, &block]) as u64;
                sent += count;
                if sent % 7 == 0 {
                    std::thread::yield_now();
                }
            }
            // Unreported losses are sent as soon as there is room.
            while !audio.send(Command::StopTake) {
                std::thread::yield_now();
            }
            dropped
        });
        let (mut frames, mut lost, mut last, mut stopped) = (0u64, 0u64, -1.0f32, false);
        while !stopped {
            analysis.drain(usize::MAX, |event| match event {
                Event::Frames(run) => {
                    for frame in run {
                        assert!(frame[0] > last, "{} after {last}", frame[0]);
                        last = frame[0];
                    }
                    frames += run.len() as u64;
                }
                Event::Command(Command::Lost(count)) => {
                    lost += count;
                    // The gap is exactly as wide as reported.
                    last += count as f32;
                    assert_eq!(frames + lost, last as u64 + 1);
                }
                Event::Command(Command::StopTake) => stopped = true,
                Event::Command(_) => {}
            });
        }
        let dropped = producer.expect("thread starts").join().expect("producer ends");
        assert_eq!((frames + lost, lost), (total, dropped));
    }
}
