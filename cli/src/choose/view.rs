//! The view from the command line: a rig file, feeds, limits.
//!
//! Feeds and limits use the rig file's own words, so that there is only one set of them to learn.

use std::path::Path;

use sumproof_core::routing::feed::FeedId;
use sumproof_core::score::outcome::Limits;
use sumproof_core::score::rig::Rig;
use sumproof_report::rig::file as rig_file;
use sumproof_report::{Shown, View};
use sumproof_wording::Name;

use crate::input::rig::{self, RigError};

/// The view from a rig file (`None`: two straight lines), feeds and limits (`KEY=DB`, on top of the file's). A feed is
/// an id, or an inline TOML table like the rig file's `own`.
///
/// # Errors
/// See [`RigError`]: one line.
pub fn view(rig_path: Option<&Path>, feeds: &[String], limits: &[String]) -> Result<View, RigError> {
    let file = rig::read_or_default(rig_path)?;
    let rig = Rig {
        limits: with_limits(file.limits, limits)
            .map_err(in_one_line)
            .map_err(RigError::Usage)?,
        ..file.rig()
    };
    let all = View::all(rig, file.own_name());
    if feeds.is_empty() {
        return Ok(all);
    }
    let feeds = feeds
        .iter()
        .map(|text| feed(text, &all).map_err(in_one_line))
        .collect::<Result<_, _>>()
        .map_err(RigError::Usage)?;
    Ok(View {
        feeds,
        asked: true,
        ..all
    })
}

fn feed(text: &str, all: &View) -> Result<Shown, String> {
    let text = text.trim();
    if text.starts_with('{') {
        let file = rig_file::parse(&format!("own = {text}"))
            .map_err(|error| format!("--feed {text}: {}", without_line(&error.to_string())))?;
        return Ok(Shown::Described {
            name: file.own_name().unwrap_or(FeedId::Own.name()).into(),
            feed: file.rig().own,
        });
    }
    match FeedId::from_id(text) {
        Some(FeedId::Own) => all
            .feeds
            .iter()
            .find(|shown| matches!(shown, Shown::Described { .. }))
            .cloned()
            .ok_or_else(|| "--feed own: the rig file describes no feed of your own; add [own] to it".into()),
        Some(id) => Ok(Shown::BuiltIn(id)),
        None => Err(format!(
            "there is no feed '{text}'; take one of {}, or describe one like '{{name = \"front fill\", ending = \"sum\", \
             right = {{delay_ms = 2}}}}'",
            FeedId::ALL.map(FeedId::id).join(", ")
        )),
    }
}

fn with_limits(from_file: Limits, settings: &[String]) -> Result<Limits, String> {
    let mut values: [String; rig_file::LIMITS.len()] = [
        from_file.dry_holds_db,
        from_file.dry_drops_out_db,
        from_file.drier_db,
        from_file.wetter_db,
        from_file.tone_db,
        from_file.partials_db,
        from_file.effect_gone_db,
    ]
    // With a decimal point, so that TOML reads a float and shows one in its errors.
    .map(|value| format!("{value:?}"));
    for setting in settings {
        let (key, value) = setting
            .split_once('=')
            .map(|(key, value)| (key.trim(), value.trim()))
            .ok_or_else(|| format!("--limit {setting}: write KEY=DB, for example dry_holds_db=-6"))?;
        let at = rig_file::LIMITS
            .iter()
            .position(|&known| known == key)
            .ok_or_else(|| {
                format!(
                    "--limit {setting}: there is no limit '{key}'; take one of {}",
                    rig_file::LIMITS.join(", ")
                )
            })?;
        let number: f64 = value
            .parse()
            .map_err(|_| format!("--limit {setting}: '{value}' is no number"))?;
        values[at] = format!("{number:?}");
    }
    let text: String = rig_file::LIMITS
        .iter()
        .zip(&values)
        .map(|(key, value)| format!("{key} = {value}\n"))
        .collect();
    rig_file::parse(&format!("[limits]\n{text}"))
        .map(|file| file.limits)
        .map_err(|error| format!("--limit: {}", without_line(&error.to_string())))
}

/// An error repeats what was typed, and a shell accepts line breaks.
fn in_one_line(complaint: String) -> String {
    complaint.replace(char::is_control, " ")
}

/// An error of a rig file without its line number, which has no meaning here.
fn without_line(complaint: &str) -> &str {
    complaint
        .strip_prefix("line ")
        .and_then(|rest| rest.split_once(": "))
        .map_or(complaint, |(_, rest)| rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use sumproof_core::routing::feed::{Ending, SumLaw};
    use sumproof_core::routing::line::Polarity;

    fn text(settings: &[&str]) -> Vec<String> {
        settings.iter().map(|&setting| setting.into()).collect()
    }

    #[test]
    fn feeds_are_chosen_or_described() {
        let feeds = text(&[
            "mono-wedge",
            r#"{name = "front fill", ending = "sum", right = {delay_ms = 2, polarity = "flipped"}}"#,
        ]);
        let view = view(None, &feeds, &[]).expect("two feeds");
        assert!(view.asked);
        assert_eq!(view.feeds[0], Shown::BuiltIn(FeedId::MonoWedge));
        let Shown::Described { name, feed } = &view.feeds[1] else {
            panic!("{:?}", view.feeds);
        };
        assert_eq!(name, "front fill");
        assert_eq!(feed.ending, Ending::Sum(SumLaw::Average));
        assert_eq!(
            (feed.right.delay_s, feed.right.polarity),
            (0.002, Polarity::Flipped)
        );
    }

    #[test]
    fn limits_are_set_one_by_one_or_refused_in_a_line() {
        let set =
            view(None, &[], &text(&["dry_holds_db=-12", "dry_drops_out_db = -20"])).expect("two limits");
        assert_eq!(
            (set.rig.limits.dry_holds_db, set.rig.limits.dry_drops_out_db),
            (-12.0, -20.0)
        );
        assert_eq!(set.rig.limits.tone_db, Limits::default().tone_db);
        for wrong in [
            "dry_holds_db",
            "loud=3",
            "tone_db=much",
            "tone_db=400",
            "tone_db=nan",
            "tone\n_db=2",
        ] {
            let line = view(None, &[], &text(&[wrong])).expect_err(wrong).to_string();
            assert!(line.starts_with("--limit") && line.lines().count() == 1, "{line}");
        }
    }

    #[test]
    fn a_wrong_feed_is_one_line() {
        for wrong in [
            "house",
            "own",
            "{ending = \"sum\"",
            "{ending = \"loud\"}",
            "{end = 1}",
            "mono\nwedge",
            "{\nending = \"loud\"}",
        ] {
            let line = view(None, &text(&[wrong]), &[]).expect_err(wrong).to_string();
            assert_eq!(line.lines().count(), 1, "{line}");
        }
    }
}
