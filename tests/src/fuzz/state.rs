//! Saved states, loaded into the plugin as by a host.

use super::{Outcome, Target, json};
use crate::host::setup::{CLAP_ID, clap_bundle, workspace};
use crate::host::{Library, Play, Plugin, State, Stereo};
use serde_json::{Map, Value};
use sumproof_signals::Rng;

/// See the module.
pub const TARGET: Target = Target {
    name: "state",
    about: "a saved state, loaded into the bundled plugin",
    seeds,
    words: &[
        "\"version\"",
        "\"params\"",
        "\"fields\"",
        "\"takes\"",
        "\"kept\"",
        "\"own_name\"",
        "\"boxes\"",
        "\"card\"",
        "\"f32\"",
        "\"bool\"",
        "\"string\"",
        "\"i32\"",
        "{\"f32\":",
        "99.0.0",
        "\\\"",
        "\\u0000",
    ],
    damage: Some(json::damage),
    subject: || {
        let mut subject = StateSubject::new();
        Box::new(move |json: &[u8]| {
            let mut stream = (json.len() as u64).to_le_bytes().to_vec();
            stream.extend_from_slice(json);
            subject.run(&stream)
        })
    },
    longest: 1 << 20,
    few: 1500,
    fatal: true,
};

/// States as saved: of an untouched plugin, of one with settings, and the stored ones with takes.
fn seeds() -> Vec<Vec<u8>> {
    let mut plugin = fresh();
    let untouched = saved(&mut plugin);
    let events = [
        ("l_gain", "-6.5 dB"),
        ("r_del", "1.25 ms"),
        ("r_pol", "Flipped"),
        ("feed", "Left line only"),
    ]
    .map(|(key, text)| {
        plugin
            .change(0, key, text)
            .expect("the plugin takes its own texts")
    });
    let how = Play {
        events: events.to_vec(),
        ..Play::default()
    };
    plugin.play(&sound(512), &how).expect("it plays");
    let set = saved(&mut plugin);
    let mut all = vec![json_of(&untouched), json_of(&set)];
    for entry in std::fs::read_dir(workspace().join("tests/states"))
        .into_iter()
        .flatten()
        .flatten()
    {
        all.extend(std::fs::read(entry.path()));
    }
    all
}

fn json_of(stream: &[u8]) -> Vec<u8> {
    stream[8..].to_vec()
}

fn fresh() -> Plugin {
    let library = Library::load(&clap_bundle()).expect("the bundle loads");
    library.instantiate(CLAP_ID).expect("the plugin is in it")
}

fn saved(plugin: &mut Plugin) -> Vec<u8> {
    plugin.save_state().expect("it saves its state")
}

fn sound(frames: usize) -> Stereo {
    let mut rng = Rng::new(7);
    let mut channel = || (0..frames).map(|_| rng.between(-0.5, 0.5) as f32).collect();
    Stereo::new(48_000.0, channel(), channel())
}

/// A plugin that states are loaded into, with the checks after loading.
pub struct StateSubject {
    plugin: Plugin,
    before: State,
    cases: u32,
}

impl StateSubject {
    /// Creates the plugin.
    ///
    /// # Panics
    /// When there is no bundle.
    #[must_use]
    #[expect(clippy::new_without_default, reason = "it loads a library")]
    pub fn new() -> Self {
        let mut plugin = fresh();
        let untouched = State::decode(&saved(&mut plugin)).expect("it reads its own state");
        let mut subject = Self {
            plugin,
            before: untouched,
            cases: 0,
        };
        subject.before = subject.state().expect("it saves its state").1;
        subject
    }

    /// Loads a state's stream: it must either be refused without any change, or be loaded, and then saved and loaded
    /// again with the same result and every parameter in its range.
    ///
    /// # Errors
    /// The guarantee that is broken.
    pub fn run(&mut self, stream: &[u8]) -> Outcome {
        let loaded = self.plugin.load_state(stream);
        let (bytes, now) = self.state()?;
        if loaded.is_err() {
            return if now == self.before {
                Ok("refused".to_owned())
            } else {
                Err(format!(
                    "a state that was refused changed {}",
                    difference(&self.before, &now)
                ))
            };
        }
        self.params_are_in_range()?;
        // The saved state is a state like any other: it loads with the same result.
        self.plugin
            .load_state(&bytes)
            .map_err(|error| format!("what it saved after loading is refused: {error}"))?;
        let (_, again) = self.state()?;
        if again != now {
            return Err(format!(
                "saved after loading, and loaded again, it differs: {}",
                difference(&now, &again)
            ));
        }
        self.before = again;
        self.cases += 1;
        if self.cases.is_multiple_of(32) {
            self.sound_passes()?;
        }
        let kept = self
            .before
            .fields
            .get("kept")
            .map(ToString::to_string)
            .unwrap_or_default();
        Ok(format!("loaded, keeping {kept}"))
    }

    fn state(&mut self) -> Result<(Vec<u8>, State), String> {
        let bytes = self.plugin.save_state().map_err(|error| error.to_string())?;
        let mut state = State::decode(&bytes).map_err(|error| error.to_string())?;
        // The version of a state without anything kept is reported once, and dropped with the next loading.
        let is_empty = |kept: &Value, part: &str| kept[part].as_object().is_none_or(Map::is_empty);
        if state
            .fields
            .get("kept")
            .is_some_and(|kept| is_empty(kept, "params") && is_empty(kept, "fields"))
        {
            state.fields.remove("kept");
        }
        Ok((bytes, state))
    }

    fn params_are_in_range(&mut self) -> Result<(), String> {
        // Every parameter comes back; the sound shows that the audition stays silent all the same.
        for param in self.plugin.params().map_err(|error| error.to_string())? {
            if !(param.min..=param.max).contains(&param.value) || param.text.is_empty() {
                return Err(format!("a parameter out of its range: {param:?}"));
            }
        }
        Ok(())
    }

    fn sound_passes(&mut self) -> Result<(), String> {
        let audio = sound(700);
        let out = self
            .plugin
            .play(&audio, &Play::default())
            .map_err(|error| error.to_string())?;
        if out != audio {
            return Err("with this state the sound does not pass bit for bit".to_owned());
        }
        Ok(())
    }
}

/// A short list of the parameters and fields in which two states differ.
fn difference(one: &State, other: &State) -> String {
    let maps = [(&one.params, &other.params), (&one.fields, &other.fields)];
    let mut said = String::new();
    for (one, other) in maps {
        for key in one.keys().chain(other.keys()) {
            let [was, is] = [one, other].map(|map| map.get(key).map(ToString::to_string).unwrap_or_default());
            if was != is {
                let from = was
                    .bytes()
                    .zip(is.bytes())
                    .position(|(a, b)| a != b)
                    .unwrap_or(was.len().min(is.len()));
                let near = |text: &str| {
                    text.chars()
                        .skip(from.saturating_sub(60))
                        .take(120)
                        .collect::<String>()
                };
                said += &format!("\n{key}: …{}…\n  became …{}…", near(&was), near(&is));
            }
        }
    }
    said
}
