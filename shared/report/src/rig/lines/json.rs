//! The report of the lines for programs.

use serde::Serialize;
use sumproof_core::routing::boxes::{Choice, Coupling, DeskInput, Mains, Offered, Phantom, Source};
use sumproof_core::routing::feed::Side;
use sumproof_core::routing::line::Polarity;
use sumproof_wording::boxes;

use super::{LinesReport, why};

/// The version of the form.
const SCHEMA: u32 = 1;

#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    version: &'static str,
    source: &'a Source,
    gig: GigForm,
    own: Option<ChoiceForm>,
    choices: Vec<ChoiceForm>,
    why: String,
}

#[derive(Serialize)]
struct GigForm {
    mains: &'static str,
    inputs: &'static str,
    phantom: Option<bool>,
}

#[derive(Serialize)]
struct ChoiceForm {
    left: LineForm,
    right: LineForm,
    level_difference_db: Option<f64>,
    right_late_ms: f64,
    one_flipped: bool,
    low_e_phase_deg: f64,
    low_e_db: Option<f64>,
    middle_db: Option<f64>,
    first_notch_hz: Option<f64>,
    alike: bool,
    differences: Vec<String>,
    merits: Vec<&'static str>,
    troubles: Vec<String>,
    points: f64,
}

#[derive(Serialize)]
struct LineForm {
    #[serde(rename = "box")]
    kind: &'static str,
    turns_ratio: Option<f64>,
    input: &'static str,
    load_ohm: f64,
    gain_db: Option<f64>,
    level_dbu: Option<f64>,
    preamp_gain_db: Option<f64>,
    high_pass_hz: f64,
    delay_ms: f64,
    polarity: Polarity,
    isolates: bool,
    blocks_dc: bool,
    blocks_phantom: bool,
    phantom_power: &'static str,
    output_ohm: f64,
    rejection_symmetric_db: f64,
    rejection_single_ended_db: f64,
    input_noise_dbu: f64,
    over_noise_db: Option<f64>,
    peak_dbu: Option<f64>,
    wants_pad: bool,
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn line_form(choice: &Choice, side: Side, source: &Source) -> LineForm {
    let number = usize::from(side == Side::Right);
    let one = [&choice.candidate.left, &choice.candidate.right][number];
    let (arrival, spec) = (&choice.arrivals[number], one.spec());
    let peaks = source.peaks().through(arrival.gain_db);
    LineForm {
        kind: one.kind.id(),
        turns_ratio: match spec.coupling {
            Coupling::Transformer { turns_ratio, .. } => Some(turns_ratio),
            _ => None,
        },
        input: match spec.input {
            DeskInput::Mic => "mic",
            DeskInput::Line => "line",
        },
        load_ohm: one.load_ohm(),
        gain_db: finite(arrival.gain_db),
        level_dbu: finite(arrival.level_dbu),
        preamp_gain_db: finite(arrival.preamp_gain_db),
        high_pass_hz: arrival.high_pass_hz,
        delay_ms: 1000.0 * arrival.delay_s,
        polarity: arrival.polarity,
        isolates: spec.isolation.isolates(),
        blocks_dc: spec.blocks_dc,
        blocks_phantom: spec.blocks_phantom,
        phantom_power: match spec.phantom {
            Phantom::Needed => "needed",
            Phantom::Harmless => "harmless",
            Phantom::MustBeOff => "must-be-off",
        },
        output_ohm: arrival.output_ohm,
        rejection_symmetric_db: arrival.rejection.symmetric_db,
        rejection_single_ended_db: arrival.rejection.single_ended_db,
        input_noise_dbu: arrival.input_noise_dbu,
        over_noise_db: finite(arrival.over_noise_db()),
        peak_dbu: finite(peaks.dbu),
        wants_pad: spec.input == DeskInput::Mic && peaks.want_pad(),
    }
}

fn choice_form(choice: &Choice, source: &Source) -> ChoiceForm {
    let pair = &choice.pair;
    ChoiceForm {
        left: line_form(choice, Side::Left, source),
        right: line_form(choice, Side::Right, source),
        level_difference_db: finite(pair.level_difference_db),
        right_late_ms: 1000.0 * pair.right_late_s,
        one_flipped: pair.one_flipped,
        low_e_phase_deg: pair.low_e_phase_deg,
        low_e_db: finite(pair.low_e_db),
        middle_db: finite(pair.middle_db),
        first_notch_hz: pair.first_notch_hz,
        alike: pair.alike(),
        differences: boxes::differences(choice),
        merits: choice.merits.iter().map(|&merit| boxes::merit(merit)).collect(),
        troubles: choice
            .troubles
            .iter()
            .map(|&trouble| boxes::trouble(trouble))
            .collect(),
        points: choice.points,
    }
}

/// The report for programs, described in `docs/boxes.md`.
#[must_use]
pub fn lines_json(report: &LinesReport) -> String {
    let form = |choice: &Choice| choice_form(choice, &report.source);
    let document = Document {
        schema: SCHEMA,
        version: env!("CARGO_PKG_VERSION"),
        source: &report.source,
        gig: GigForm {
            mains: match report.gig.mains {
                Mains::Same => "same",
                Mains::Separate => "separate",
                Mains::Unknown => "unknown",
            },
            inputs: match report.gig.offered {
                Offered::Either => "either",
                Offered::MicOnly => "mic",
                Offered::LineOnly => "line",
            },
            phantom: report.gig.phantom,
        },
        own: report.own.as_ref().map(form),
        choices: report.choices.iter().map(form).collect(),
        why: why(report)
            .into_iter()
            .map(|(label, text)| format!("{label}{text}"))
            .collect::<Vec<_>>()
            .join("\n"),
    };
    // Plain structs of numbers and texts always serialise.
    serde_json::to_string_pretty(&document).unwrap_or_default()
}
