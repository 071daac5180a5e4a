//! The audio thread: cuts a recording into blocks and passes them to the plugin.

use crate::audio::{Buffers, Midi, ParamEvent, Play, Stereo, Transport};
use crate::error::HostError;
use crate::handlers::TestHost;
use crate::syscalls::Watch;
use clack_host::events::event_types::{MidiEvent, ParamValueEvent, TransportEvent, TransportFlags};
use clack_host::events::{EventFlags, EventHeader};
use clack_host::prelude::*;
use clack_host::process::{StartedPluginAudioProcessor, StoppedPluginAudioProcessor};
use clack_host::utils::{BeatTime, SecondsTime};

/// Marker in separate output buffers before each block: a NaN with a payload that no arithmetic produces.
const UNWRITTEN: f32 = f32::from_bits(0x7fc5_0001);

/// Tempo that the transport reports.
const TEMPO_BPM: f64 = 120.0;

/// The processor, if there still is one, and the result.
pub(crate) type Finished<T> = (
    Option<StoppedPluginAudioProcessor<TestHost>>,
    Result<T, HostError>,
);

/// Plays the whole recording.
pub(crate) fn play(
    stopped: StoppedPluginAudioProcessor<TestHost>,
    audio: &Stereo,
    how: &Play,
    ports: usize,
) -> Finished<Stereo> {
    let mut started = match stopped.start_processing() {
        Ok(started) => started,
        Err(error) => {
            let refused = HostError::refused("start processing", &error);
            return (Some(error.into_stopped_processor()), Err(refused));
        }
    };
    let mut feeder = match Feeder::new(how, audio.rate_hz, ports) {
        Ok(feeder) => feeder,
        Err(error) => return (Some(started.stop_processing()), Err(error)),
    };
    let mut events = how.events.clone();
    events.sort_by_key(|event| event.at_sample);
    let length = audio.len_samples();
    let mut out = Stereo::new(
        audio.rate_hz,
        Vec::with_capacity(length),
        Vec::with_capacity(length),
    );
    let (mut from, mut next_event) = (0, 0);
    for size in how.blocks.sizes() {
        if from == length {
            break;
        }
        let to = from + block_len(how, size, length - from, from, &events[next_event..]);
        let due = events[next_event..]
            .iter()
            .take_while(|event| event.at_sample < to)
            .count();
        let result = feeder.block(
            &mut started,
            &audio.left[from..to],
            &audio.right[from..to],
            from,
            &events[next_event..next_event + due],
        );
        match result {
            Ok((left, right)) => {
                out.left.extend_from_slice(left);
                out.right.extend_from_slice(right);
            }
            Err(error) => return (Some(started.stop_processing()), Err(error)),
        }
        next_event += due;
        from = to;
    }
    (Some(started.stop_processing()), Ok(out))
}

/// Length of the next block: the drawn size, at most the rest, and cut at the next change if `how` asks for that. `now`
/// and the changes count samples from the first one played.
pub(crate) fn block_len(how: &Play, drawn: usize, left: usize, now: usize, changes: &[ParamEvent]) -> usize {
    let longest = drawn.min(left);
    if !how.cut_at_events {
        return longest;
    }
    changes
        .iter()
        .filter(|change| change.at_sample > now)
        .map(|change| change.at_sample - now)
        .fold(longest, usize::min)
}

/// The call into the plugin as a function of its own: the bench counts the instructions within it by its name.
#[inline(never)]
fn hand_over_a_block(
    started: &mut StartedPluginAudioProcessor<TestHost>,
    input: &InputAudioBuffers<'_>,
    output: &mut OutputAudioBuffers<'_>,
    events: &EventBuffer,
    answers: &mut EventBuffer,
    at_sample: u64,
    transport: Option<&TransportEvent>,
) -> Result<(), PluginInstanceError> {
    started
        .process(
            input,
            output,
            &InputEvents::from_buffer(events),
            &mut OutputEvents::from_buffer(answers),
            Some(at_sample),
            transport,
        )
        .map(|_| ())
}

/// The buffers of one audio thread, made once and used for every block.
pub(crate) struct Feeder {
    buffers: Buffers,
    transport: Option<Transport>,
    rate_hz: f64,
    channels: usize,
    position_samples: usize,
    input: [Vec<f32>; 2],
    /// The signal of the second input port.
    side_chain: Vec<Vec<f32>>,
    /// A block of it; no channels when there is no such port.
    second_input: Vec<Vec<f32>>,
    output: [Vec<f32>; 2],
    input_ports: AudioPorts,
    output_ports: AudioPorts,
    events: EventBuffer,
    midi: Vec<Midi>,
    answers: EventBuffer,
    watch: Option<Watch>,
}

impl Feeder {
    /// Allocates for the largest block of `how`, and for a plugin with one or two input ports. Call it on the audio
    /// thread.
    ///
    /// # Errors
    /// [`HostError::Watch`] when system calls can't be watched as requested.
    pub(crate) fn new(how: &Play, rate_hz: f64, ports: usize) -> Result<Self, HostError> {
        let size = how.blocks.max_samples() as usize;
        Ok(Self {
            buffers: how.buffers,
            transport: how.transport,
            rate_hz,
            channels: how.channels,
            position_samples: 0,
            input: [vec![0.0; size], vec![0.0; size]],
            second_input: if ports > 1 {
                vec![vec![0.0; size]; if how.side_chain.len() == 1 { 1 } else { 2 }]
            } else {
                Vec::new()
            },
            side_chain: how.side_chain.clone(),
            output: [vec![0.0; size], vec![0.0; size]],
            input_ports: AudioPorts::with_capacity(4, 2),
            output_ports: AudioPorts::with_capacity(2, 1),
            events: EventBuffer::with_capacity(64),
            midi: how.midi.clone(),
            answers: EventBuffer::with_capacity(64),
            watch: how.no_system_calls.then(Watch::on_this_thread).transpose()?,
        })
    }

    /// Runs one block, with the parameter changes due in it, and returns the output. `from` is the block's position in
    /// the recording, for the second input.
    ///
    /// # Errors
    /// [`HostError::Refused`] when the plugin reports a failure.
    pub(crate) fn block(
        &mut self,
        started: &mut StartedPluginAudioProcessor<TestHost>,
        left: &[f32],
        right: &[f32],
        from: usize,
        changes: &[ParamEvent],
    ) -> Result<(&[f32], &[f32]), HostError> {
        let size = left.len();
        let block_start = self.position_samples;
        self.events.clear();
        for change in changes {
            let offset = change.at_sample.saturating_sub(block_start) as u32;
            self.events.push(&ParamValueEvent::new(
                offset,
                ClapId::new(change.param.0),
                Pckn::match_all(),
                change.value,
            ));
        }
        let block = block_start..block_start + size;
        let due = self
            .midi
            .iter()
            .filter(|message| block.contains(&message.at_sample));
        for message in due {
            let offset = (message.at_sample - block_start) as u32;
            self.events.push(&MidiEvent::new(offset, 0, message.bytes));
        }
        self.events.sort();
        self.answers.clear();
        let transport = self
            .transport
            .map(|t| transport_event(t, block_start as f64 / self.rate_hz));

        let in_place = self.buffers == Buffers::InPlace;
        for (channel, source) in [left, right].into_iter().enumerate() {
            if in_place {
                self.output[channel][..size].copy_from_slice(source);
            } else {
                self.input[channel][..size].copy_from_slice(source);
                let present = channel < self.channels;
                self.output[channel][..size].fill(if present { UNWRITTEN } else { 0.0 });
            }
        }

        for (channel, block) in self.second_input.iter_mut().enumerate() {
            let source = self.side_chain.get(channel).and_then(|sound| sound.get(from..));
            let source = source.unwrap_or_default();
            for (index, sample) in block[..size].iter_mut().enumerate() {
                *sample = source.get(index).copied().unwrap_or(0.0);
            }
        }

        let mut output = self.output_ports.with_output_buffers([AudioPortBuffer {
            latency: 0,
            channels: AudioPortBufferType::f32_output_only(
                self.output.iter_mut().take(self.channels).map(|b| &mut b[..size]),
            ),
        }]);
        let port_count = if self.second_input.is_empty() { 1 } else { 2 };
        let ports = [
            &mut self.input[..self.channels.min(2)],
            &mut self.second_input[..],
        ]
        .into_iter()
        .take(port_count)
        .map(|port| AudioPortBuffer {
            latency: 0,
            channels: AudioPortBufferType::f32_input_only(
                port.iter_mut().map(|b| InputChannel::variable(&mut b[..size])),
            ),
        });
        let separate = self.input_ports.with_input_buffers(ports);
        let shared_memory: Vec<_>;
        let input = if in_place {
            let mut raw = separate.as_raw_buffers().to_vec();
            raw[0] = output.as_raw_buffers()[0];
            shared_memory = raw;
            // SAFETY: the pointers are those of the output port and of the other input ports made just above. They stay
            // valid for this call, hold `size` samples a channel, and CLAP allows an input port to share the memory of
            // an output port.
            unsafe { InputAudioBuffers::from_raw_buffers(&shared_memory, size as u32) }
        } else {
            separate
        };
        let (events, answers) = (&self.events, &mut self.answers);
        let mut call = || {
            let at_sample = block_start as u64;
            hand_over_a_block(
                started,
                &input,
                &mut output,
                events,
                answers,
                at_sample,
                transport.as_ref(),
            )
        };
        let processed = match &self.watch {
            Some(watch) => watch.during(call),
            None => call(),
        };
        processed.map_err(|e| HostError::refused("process a block", e))?;
        self.position_samples += size;
        Ok((&self.output[0][..size], &self.output[1][..size]))
    }

    /// Samples processed so far.
    pub(crate) fn position_samples(&self) -> usize {
        self.position_samples
    }
}

/// The transport at a song position.
fn transport_event(transport: Transport, seconds: f64) -> TransportEvent {
    let mut flags =
        TransportFlags::HAS_TEMPO | TransportFlags::HAS_BEATS_TIMELINE | TransportFlags::HAS_SECONDS_TIMELINE;
    flags.set(TransportFlags::IS_PLAYING, transport.playing);
    flags.set(TransportFlags::IS_RECORDING, transport.recording);
    let beats = seconds * TEMPO_BPM / 60.0;
    let zero = BeatTime::from_int(0);
    TransportEvent {
        header: EventHeader::new_core(0, EventFlags::empty()),
        flags,
        song_pos_beats: BeatTime::from_float(beats),
        song_pos_seconds: SecondsTime::from_float(seconds),
        tempo: TEMPO_BPM,
        tempo_inc: 0.0,
        loop_start_beats: zero,
        loop_end_beats: zero,
        loop_start_seconds: zero,
        loop_end_seconds: zero,
        bar_start: BeatTime::from_int((beats / 4.0).floor() as i64 * 4),
        bar_number: (beats / 4.0).floor() as i32,
        time_signature_numerator: 4,
        time_signature_denominator: 4,
    }
}
