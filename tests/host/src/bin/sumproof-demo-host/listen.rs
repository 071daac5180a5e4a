//! Plays a recording through the plugin: once for the analysis, and once per feed for listening.

use crate::Recording;
use indicatif::{ProgressBar, ProgressStyle};
use std::path::Path;
use sumproof_core::routing::feed::FeedId;
use sumproof_core::session::take::Take;
use sumproof_host::{Blocks, HostError, ParamEvent, Play, Plugin, State, Stereo};
use sumproof_wording::Name;

/// Block size of the rendering, samples.
const BLOCK: Blocks = Blocks::Fixed(1024);

/// Renders the recording while the plugin records a take; returns the take under the recording's name, and the state
/// that holds it.
///
/// # Errors
/// A refusal of the plugin, or [`HostError::State`] if there is no take.
pub fn analyse(plugin: &mut Plugin, recording: &Recording) -> Result<(Take, Vec<u8>), HostError> {
    let seconds = recording.audio.seconds();
    eprintln!("playing {} ({seconds:.1} s) through the plugin", recording.name);
    plugin.record_take(&recording.audio, BLOCK, true)?;
    let state = plugin.save_state()?;
    let mut take = State::decode(&state)?
        .takes()?
        .pop()
        .ok_or_else(|| HostError::State("the plugin recorded no take".to_owned()))?;
    take.name.clone_from(&recording.name);
    Ok((take, state))
}

/// Renders the sound of every built-in feed into `folder`, numbered in the table's order.
///
/// # Errors
/// A refusal of the plugin or a failure of the file system.
pub fn write_feeds(
    plugin: &mut Plugin,
    recording: &Recording,
    folder: &Path,
) -> Result<(), Box<dyn std::error::Error>> {
    std::fs::create_dir_all(folder)?;
    let feeds: Vec<_> = (0_u32..)
        .zip(FeedId::ALL)
        .filter(|(_, id)| *id != FeedId::Own)
        .collect();
    // Draws on stderr, and only if that is a terminal.
    let bar = ProgressBar::new(feeds.len() as u64)
        .with_style(ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}")?);
    for (number, id) in feeds {
        bar.set_message(id.name());
        let heard = audition(plugin, &recording.audio, number)?;
        heard.write_wav(&folder.join(format!("{:02}-{}.wav", number + 1, id.id())))?;
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(())
}

/// The sound of one feed in a bounce that includes the audition.
fn audition(plugin: &mut Plugin, audio: &Stereo, feed: u32) -> Result<Stereo, HostError> {
    let how = Play {
        blocks: BLOCK,
        offline: true,
        events: vec![
            ParamEvent::step("audbnc", 1),
            ParamEvent::step("feed", feed),
            ParamEvent::step("aud", 1),
        ],
        ..Play::default()
    };
    plugin.play(audio, &how)
}
