//! The documentation's tables, as Markdown.

use sumproof_core::line_check::Trust;
use sumproof_signals::venue::{End, Room, Situation};

use super::Coding;
use super::judge::{Graded, Off, Outcome};

type Which = fn(&Outcome) -> bool;
type Get = fn(&Outcome) -> Graded;

const QUESTIONS: [(&str, Get); 4] = [
    ("polarity", |o| o.polarity),
    ("feed", |o| o.feed),
    ("delay", |o| o.delay),
    ("level", |o| o.level),
];

fn is_rest(outcome: &Outcome) -> bool {
    outcome.situation == Situation::AtRest
}

fn percent(part: usize, of: usize) -> String {
    format!("{:.1} %", 100.0 * part as f64 / of.max(1) as f64)
}

fn count(of: &[&Outcome], which: impl Fn(&Outcome) -> bool) -> usize {
    of.iter().filter(|outcome| which(outcome)).count()
}

/// All tables.
pub fn table(outcomes: &[Outcome]) -> String {
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let rest: Vec<&Outcome> = outcomes.iter().filter(|outcome| is_rest(outcome)).collect();
    let mut text = String::from("Wrong answers by how sure they were:\n\n");
    text += &by_trust(&all);
    text += "\nWhat is the matter, and whether it is said:\n\n";
    text += &by_situation(outcomes);
    text += "\nThe phone at rest, one way from the lines to it:\n\n";
    text += &at_rest(&rest);
    text += &intervals(&all);
    text += &numbers(outcomes);
    let mut times: Vec<f64> = outcomes.iter().map(|outcome| outcome.reading_s).collect();
    times.sort_by(f64::total_cmp);
    eprintln!(
        "reading took {:.2} s in the middle, {:.2} s at most, with everything else that ran here",
        times[times.len() / 2],
        times[times.len() - 1]
    );
    text
}

fn by_trust(all: &[&Outcome]) -> String {
    let mut text = String::from(
        "| answer | asked in | right, sure | right, likely | can't be told | wrong, said sure | wrong, said likely |\n\
         |---|---|---|---|---|---|---|\n",
    );
    for (name, get) in QUESTIONS {
        let of = |wanted: Graded| count(all, |outcome| get(outcome) == wanted);
        text += &format!(
            "| {name} | {} | {} | {} | {} | {} | {} |\n",
            all.len() - of(Graded::NotAsked),
            of(Graded::Right(Trust::Sure)),
            of(Graded::Right(Trust::Likely)),
            of(Graded::Unknown),
            of(Graded::Wrong(Trust::Sure)),
            of(Graded::Wrong(Trust::Likely)),
        );
    }
    let wrong = |trust| count(all, |outcome| outcome.all().contains(&Graded::Wrong(trust)));
    let sure = wrong(Trust::Sure);
    let likely = wrong(Trust::Likely);
    text += &format!(
        "\nVenues with any wrong answer that was said to be sure: {sure}; likely: {likely}; of {}.\n",
        all.len()
    );
    text
}

fn by_situation(outcomes: &[Outcome]) -> String {
    let mut text = String::from(
        "| situation | number | named | of the rest: polarity and feed untold or right | any answer wrong, sure / likely |\n\
         |---|---|---|---|---|\n",
    );
    for (situation, _) in Situation::SHARES {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| o.situation == situation).collect();
        let named = count(&of, |o| o.named == Some(true));
        let rest: Vec<&Outcome> = of.iter().copied().filter(|o| o.named == Some(false)).collect();
        let harmless = count(&rest, |o| !o.polarity.is_wrong() && !o.feed.is_wrong());
        let wrong = |trust| count(&of, |o| o.all().contains(&Graded::Wrong(trust)));
        let asked = of.iter().any(|o| o.named.is_some());
        text += &format!(
            "| {} | {} | {} | {} | {} / {} |\n",
            words(situation),
            of.len(),
            if asked {
                format!("{named} ({})", percent(named, of.len()))
            } else {
                "–".into()
            },
            if asked {
                format!("{harmless} of {}", rest.len())
            } else {
                "–".into()
            },
            wrong(Trust::Sure),
            wrong(Trust::Likely)
        );
    }
    text
}

fn words(situation: Situation) -> &'static str {
    match situation {
        Situation::AtRest => "at rest, one way",
        Situation::HandHeld => "phone in the hand, 1 to 4 cm",
        Situation::PutElsewhere => "phone put elsewhere, 5 to 80 cm",
        Situation::Gap => "0.2 to 20 ms missing",
        Situation::Repeat => "0.2 to 20 ms twice",
        Situation::TwoLoudspeakers => "two loudspeakers",
        Situation::Elsewhere => "a wedge with one line, and the PA",
        Situation::Chorus => "chorus left on",
        Situation::Reverb => "reverb left on",
        Situation::OtherRate => "44.1 for 48 kHz, or the reverse",
        Situation::Twice => "two signals in one file",
        Situation::OtherLength => "other length than said",
        Situation::OtherMode => "other mode than said",
        Situation::Mono => "one mono source",
        Situation::NothingPulled => "one mono source, nothing pulled",
        Situation::MixedToMono => "player mixes to mono",
        Situation::Faint => "signal 8 to 22 dB below the noise",
    }
}

fn at_rest(rest: &[&Outcome]) -> String {
    let rows: [(&str, Which); 18] = [
        ("all", |_| true),
        ("sum", |o| o.venue.end == End::Sum),
        ("difference", |o| o.venue.end == End::Difference),
        ("left or right only", |o| {
            matches!(o.venue.end, End::Left | End::Right)
        }),
        ("no room", |o| o.venue.room == Room::None),
        ("made-up room, up to 1.6 s", |o| decay(o).is_some_and(|s| s < 2.0)),
        ("made-up room, 2 to 4 s", |o| decay(o).is_some_and(|s| s >= 2.0)),
        ("recorded room", |o| matches!(o.venue.room, Room::Given(_))),
        ("subwoofer", |o| {
            o.venue.loudspeaker_hz.is_some_and(|band| band.1 < 400.0)
        }),
        ("noise 6 to 12 dB below", |o| {
            o.venue.noise.is_some_and(|noise| noise.below_db < 12.0)
        }),
        ("WAV", |o| o.coding == Coding::Wav),
        ("MP3, 64 and 128 kbit/s", |o| matches!(o.coding, Coding::Mp3(_))),
        ("Ogg, quality 1 and 4", |o| matches!(o.coding, Coding::Ogg(_))),
        ("automatic gain", |o| o.venue.recorder.gain.is_some()),
        ("noise suppression", |o| o.venue.recorder.suppression.is_some()),
        ("neither", |o| {
            o.venue.recorder.gain.is_none() && o.venue.recorder.suppression.is_none()
        }),
        ("clipped", |o| o.venue.recorder.clipped_db > 0.0),
        ("begun late", |o| o.venue.recorder.before_s < 0.0),
    ];
    let mut text = String::from(
        "| venues | number | polarity right / wrong / untold | feed | delay | level | delay error, 95 % (µs) | level error, 95 % (dB) |\n\
         |---|---|---|---|---|---|---|---|\n",
    );
    for (name, which) in rows {
        let of: Vec<&Outcome> = rest.iter().copied().filter(|outcome| which(outcome)).collect();
        text += &format!("| {name} | {} |", of.len());
        for (_, get) in QUESTIONS {
            text += &format!(
                " {} / {} / {} |",
                count(&of, |o| matches!(get(o), Graded::Right(_))),
                count(&of, |o| get(o).is_wrong()),
                count(&of, |o| get(o) == Graded::Unknown)
            );
        }
        let most = |off: fn(&Outcome) -> Option<Off>, scale: f64| {
            let mut all: Vec<f64> = of.iter().filter_map(|o| off(o)).map(|off| off.by.abs()).collect();
            all.sort_by(f64::total_cmp);
            let index = (all.len() * 95 / 100).min(all.len().saturating_sub(1));
            all.get(index)
                .map_or_else(|| "–".into(), |x| format!("{:.2}", scale * x))
        };
        text += &format!(
            " {} | {} |\n",
            most(|o| o.delay_off_s, 1e6),
            most(|o| o.level_off_db, 1.0)
        );
    }
    let untold = count(rest, |o| {
        o.polarity == Graded::Unknown || o.feed == Graded::Unknown
    });
    let corners = |wanted: fn(Graded) -> bool| count(rest, |o| wanted(o.corner));
    let absolutes = |wanted: fn(Graded) -> bool| count(rest, |o| wanted(o.absolute));
    text + &format!(
        "\nAt rest: polarity or feed untold in {untold} of {} ({}). Corner of the thinner line (above 100 Hz and three times the \
         other's) within a fifth: {} right, {} wrong, {} untold. Absolute polarity, where it was given: {} right, {} wrong.\n",
        rest.len(),
        percent(untold, rest.len()),
        corners(|g| matches!(g, Graded::Right(_))),
        corners(Graded::is_wrong),
        corners(|g| g == Graded::Unknown),
        absolutes(|g| matches!(g, Graded::Right(_))),
        absolutes(Graded::is_wrong),
    )
}

fn decay(outcome: &Outcome) -> Option<f64> {
    match outcome.venue.room {
        Room::Synthetic { decay_s, .. } => Some(decay_s),
        _ => None,
    }
}

/// How often a figure is within its own ±.
fn intervals(all: &[&Outcome]) -> String {
    let held = |off: fn(&Outcome) -> Option<Off>| {
        let told: Vec<Off> = all.iter().filter_map(|outcome| off(outcome)).collect();
        let inside = told.iter().filter(|off| off.by.abs() <= off.within).count();
        format!("{inside} of {} ({})", told.len(), percent(inside, told.len()))
    };
    format!(
        "\nWithin their own ±: delays {}, levels {}.\n",
        held(|o| o.delay_off_s),
        held(|o| o.level_off_db)
    )
}

/// The numbers of venues worth a look.
fn numbers(outcomes: &[Outcome]) -> String {
    let of = |which: &dyn Fn(&Outcome) -> bool| -> String {
        let numbers: Vec<String> = outcomes
            .iter()
            .filter(|outcome| which(outcome))
            .map(|outcome| outcome.number.to_string())
            .collect();
        if numbers.is_empty() {
            "none".into()
        } else {
            numbers.join(", ")
        }
    };
    let mut text = String::new();
    for (name, get) in QUESTIONS {
        for trust in [Trust::Sure, Trust::Likely] {
            text += &format!(
                "\n{name} wrong and said {}: {}.",
                trust.word(),
                of(&|outcome| get(outcome) == Graded::Wrong(trust))
            );
        }
    }
    text + &format!(
        "\nAt rest and not read at all: {}.\n",
        of(&|outcome| is_rest(outcome) && outcome.result.is_err())
    )
}
