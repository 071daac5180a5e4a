//! Everything a state holds: the parameters and the persisted fields, each of which accesses its value where it lives.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, PoisonError};

use nice_plug::params::persist::PersistentField;
use nice_plug::prelude::Params;
use serde::{Deserialize, Serialize};
use sumproof_core::routing::boxes::Kind;
use sumproof_core::routing::feed::Feed;
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_views::{Boxes, DEFAULT_SIZE, Look, MIN_SIZE, Theme};

use crate::analysis::engine::Analysis;
use crate::parameters::params::HostParams;
use crate::state::card::StoredCard;
use crate::state::migrate::{FieldSpec, Kept};
use crate::state::names::Names;
use crate::state::takes::{self, StoredTakes};

/// What the framework saves and loads.
#[derive(Params)]
pub struct PluginParams {
    /// The host's parameters.
    #[nested]
    pub host: Arc<HostParams>,
    #[persist = "takes"]
    takes: TakesField,
    #[persist = "own"]
    own: OwnField,
    #[persist = "own_name"]
    own_name: OwnNameField,
    #[persist = "boxes"]
    boxes: BoxesField,
    #[persist = "card"]
    card: CardField,
    #[persist = "limits"]
    limits: LimitsField,
    #[persist = "names"]
    names: NamesField,
    /// Size and look of the window.
    #[persist = "window"]
    pub shape: Arc<ShapeField>,
    #[persist = "kept"]
    kept: KeptField,
}

impl PluginParams {
    /// The parameters and fields of one instance.
    pub fn new(host: Arc<HostParams>, analysis: &Analysis) -> Self {
        Self {
            host,
            takes: TakesField(analysis.clone()),
            own: OwnField(analysis.clone()),
            own_name: OwnNameField(analysis.clone()),
            boxes: BoxesField(analysis.clone()),
            card: CardField(analysis.clone()),
            limits: LimitsField(analysis.clone()),
            names: NamesField(analysis.clone()),
            shape: Arc::default(),
            kept: KeptField(analysis.clone()),
        }
    }
}

/// The fields, for [`crate::state::migrate::filter`].
pub const FIELDS: [FieldSpec; 8] = [
    FieldSpec {
        key: "takes",
        default: takes::none_stored,
        readable: takes::readable,
    },
    FieldSpec {
        key: "own",
        default: || json(&Rig::default().own),
        readable: reads_as::<Feed>,
    },
    FieldSpec {
        key: "own_name",
        default: || json(&String::new()),
        readable: reads_as::<String>,
    },
    FieldSpec {
        key: "boxes",
        default: || json(&StoredBoxes::default()),
        readable: reads_as::<StoredBoxes>,
    },
    FieldSpec {
        key: "card",
        default: || json(&StoredCard::default()),
        readable: reads_as::<StoredCard>,
    },
    FieldSpec {
        key: "limits",
        default: || json(&Limits::default()),
        readable: reads_as::<Limits>,
    },
    FieldSpec {
        key: "names",
        default: || json(&Names::default()),
        readable: reads_as::<Names>,
    },
    FieldSpec {
        key: "window",
        default: || json(&Shape::default()),
        readable: reads_as::<Shape>,
    },
];

fn json<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).unwrap_or_default()
}

fn reads_as<T: for<'a> Deserialize<'a>>(text: &str) -> bool {
    serde_json::from_str::<T>(text).is_ok()
}

/// Runs `body` for the framework, which catches no panics: one would crash the host. After a panic the default is
/// returned, and what was being loaded stays as it is.
fn guarded<R: Default>(body: impl FnOnce() -> R) -> R {
    catch_unwind(AssertUnwindSafe(body)).unwrap_or_default()
}

struct TakesField(Analysis);

impl PersistentField<'_, StoredTakes> for TakesField {
    fn set(&self, stored: StoredTakes) {
        guarded(|| self.0.lock().load_takes(stored));
    }

    /// Saving first lets the analysis process everything played so far, so a state saved right after contains all of
    /// it.
    fn map<F: Fn(&StoredTakes) -> R, R>(&self, f: F) -> R {
        let stored = guarded(|| {
            self.0.catch_up();
            self.0.lock().takes().stored()
        });
        f(&stored)
    }
}

struct OwnField(Analysis);

impl PersistentField<'_, Feed> for OwnField {
    fn set(&self, own: Feed) {
        guarded(|| self.0.lock().set_own(own));
    }

    fn map<F: Fn(&Feed) -> R, R>(&self, f: F) -> R {
        f(&self.0.lock().own())
    }
}

struct OwnNameField(Analysis);

impl PersistentField<'_, String> for OwnNameField {
    fn set(&self, name: String) {
        guarded(|| self.0.lock().set_own_name(&name));
    }

    fn map<F: Fn(&String) -> R, R>(&self, f: F) -> R {
        f(&String::from(self.0.lock().own_name()))
    }
}

/// The boxes on the lines as they are stored.
#[derive(Debug, Clone, Copy, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct StoredBoxes {
    left: Option<Kind>,
    right: Option<Kind>,
}

struct BoxesField(Analysis);

impl PersistentField<'_, StoredBoxes> for BoxesField {
    fn set(&self, StoredBoxes { left, right }: StoredBoxes) {
        guarded(|| self.0.lock().set_boxes(Boxes { left, right }));
    }

    fn map<F: Fn(&StoredBoxes) -> R, R>(&self, f: F) -> R {
        let Boxes { left, right } = self.0.lock().boxes();
        f(&StoredBoxes { left, right })
    }
}

struct CardField(Analysis);

impl PersistentField<'_, StoredCard> for CardField {
    fn set(&self, card: StoredCard) {
        guarded(|| self.0.lock().set_card(card.into()));
    }

    fn map<F: Fn(&StoredCard) -> R, R>(&self, f: F) -> R {
        let card = StoredCard::from(self.0.lock().card());
        f(&card)
    }
}

struct LimitsField(Analysis);

impl PersistentField<'_, Limits> for LimitsField {
    fn set(&self, limits: Limits) {
        guarded(|| self.0.lock().set_limits(limits));
    }

    fn map<F: Fn(&Limits) -> R, R>(&self, f: F) -> R {
        f(&self.0.lock().limits())
    }
}

struct NamesField(Analysis);

impl PersistentField<'_, Names> for NamesField {
    fn set(&self, names: Names) {
        guarded(|| self.0.lock().set_names(names));
    }

    fn map<F: Fn(&Names) -> R, R>(&self, f: F) -> R {
        let names = self.0.lock().names().clone();
        f(&names)
    }
}

struct KeptField(Analysis);

impl PersistentField<'_, Kept> for KeptField {
    /// Every state has this field, see [`crate::state::migrate::filter`]; the parameters are already set when it is
    /// loaded.
    fn set(&self, kept: Kept) {
        guarded(|| {
            self.0.disarm();
            self.0.lock().set_kept(kept);
        });
    }

    fn map<F: Fn(&Kept) -> R, R>(&self, f: F) -> R {
        // Unreadable values are lost and were reported; reporting them again at the next load would be wrong.
        f(&Kept {
            unreadable: Vec::new(),
            ..self.0.lock().kept().clone()
        })
    }
}

/// Size and look of the window.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Shape {
    /// Width, points: the views' unit, before any scale.
    pub width: f32,
    /// Height, points.
    pub height: f32,
    /// Scale of everything, on top of the system's scale.
    pub zoom: f32,
    /// Night theme.
    pub night: bool,
}

impl Default for Shape {
    fn default() -> Self {
        let look = Look::default();
        Self {
            width: DEFAULT_SIZE.0,
            height: DEFAULT_SIZE.1,
            zoom: look.zoom,
            night: look.theme == Theme::Night,
        }
    }
}

impl Shape {
    /// Largest width and height accepted, points.
    const LARGEST: f32 = 16_384.0;

    /// Clamped to what a window can be.
    pub fn clamped(self) -> Self {
        let within = |value: f32, least: f32, default: f32| {
            if value.is_finite() {
                value.clamp(least, Self::LARGEST)
            } else {
                default
            }
        };
        Self {
            width: within(self.width, MIN_SIZE.0, DEFAULT_SIZE.0),
            height: within(self.height, MIN_SIZE.1, DEFAULT_SIZE.1),
            zoom: self.look().zoom,
            night: self.night,
        }
    }

    /// The look in it.
    pub fn look(&self) -> Look {
        Look {
            theme: if self.night { Theme::Night } else { Theme::Paper },
            zoom: self.zoom,
        }
        .clamped()
    }
}

/// Holds the shape.
#[derive(Debug, Default)]
pub struct ShapeField(Mutex<Shape>);

impl ShapeField {
    /// The current shape.
    pub fn get(&self) -> Shape {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes the shape, brought into range.
    pub fn update(&self, change: impl FnOnce(&mut Shape)) {
        let mut shape = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        change(&mut shape);
        *shape = shape.clamped();
    }
}

impl PersistentField<'_, Shape> for ShapeField {
    fn set(&self, new: Shape) {
        self.update(|shape| *shape = new);
    }

    fn map<F: Fn(&Shape) -> R, R>(&self, f: F) -> R {
        f(&self.get())
    }
}

impl PersistentField<'_, Shape> for Arc<ShapeField> {
    fn set(&self, new: Shape) {
        self.as_ref().set(new);
    }

    fn map<F: Fn(&Shape) -> R, R>(&self, f: F) -> R {
        self.as_ref().map(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_panics_in_a_field_stays_in_it() {
        let saved: StoredTakes = guarded(|| panic!("a field that panics, on purpose"));
        assert!(serde_json::to_string(&saved).is_ok());
        let number: u8 = guarded(|| panic!("another, on purpose"));
        assert_eq!(number, 0);
    }

    #[test]
    fn every_default_is_readable() {
        for field in &FIELDS {
            assert!((field.readable)(&(field.default)()), "{}", field.key);
            assert!(!(field.readable)("{"), "{}", field.key);
        }
    }

    #[test]
    fn a_shape_from_a_file_is_one_a_window_can_have() {
        let wild = Shape {
            width: f32::NAN,
            height: 1e9,
            zoom: -3.0,
            night: false,
        }
        .clamped();
        assert_eq!(
            (wild.width, wild.height, wild.zoom),
            (DEFAULT_SIZE.0, Shape::LARGEST, 1.0)
        );
        assert_eq!(
            Shape {
                width: 1.0,
                height: 1.0,
                ..Shape::default()
            }
            .clamped()
            .width,
            MIN_SIZE.0
        );
        assert_eq!(Shape::default().clamped(), Shape::default());
    }
}
