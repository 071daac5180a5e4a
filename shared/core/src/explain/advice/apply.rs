//! A change of the preset, applied to its spectra.

use super::Action;
use crate::Complex;
use crate::dsp::db;
use crate::routing::feed::Side;
use crate::spectrum::cross_spectrum::CrossSpectrum;
use crate::split::Split;

/// The spectra after the action on the preset; actions at the desk leave them unchanged.
#[must_use]
pub fn applied(split: &Split, action: &Action) -> Split {
    let mut changed = split.clone();
    match *action {
        Action::FlipChannel => flip(&mut changed),
        Action::RemoveDelay { late, delay_s } => remove_delay(&mut changed, late, delay_s),
        Action::FlipAndRemoveDelay { late, delay_s } => {
            flip(&mut changed);
            remove_delay(&mut changed, late, delay_s);
        }
        Action::WetLevel { change_db } => wet_level(&mut changed, change_db),
        Action::MonoEffect { from } => mono_effect(&mut changed, from),
        Action::OneLine { .. }
        | Action::EitherLine
        | Action::CheckPolarity
        | Action::SendAlike
        | Action::FlipLineBack => {}
    }
    changed
}

fn parts(split: &mut Split) -> [&mut CrossSpectrum; 3] {
    [&mut split.dry, &mut split.wet, &mut split.total]
}

fn flip(split: &mut Split) {
    for part in parts(split) {
        let cross = part.lr.iter_mut().chain(&mut part.near);
        cross.for_each(|cross| *cross = -*cross);
    }
    if let Some(bounds) = &mut split.bounds {
        bounds
            .ways
            .iter_mut()
            .for_each(|way| way.angle_rad = -way.angle_rad);
        if let Some(wet) = &mut bounds.wet {
            wet.stokes[1] = -wet.stokes[1];
            wet.stokes[2] = -wet.stokes[2];
        }
    }
}

fn remove_delay(split: &mut Split, late: Side, delay_s: f64) {
    let by = if late == Side::Right { delay_s } else { -delay_s };
    for part in parts(split) {
        part.delay_s -= by;
        // The part near zero delay is now late the other way by as much; a take's cells are too wide to place it.
        part.near.clear();
    }
    if let Some(bounds) = &mut split.bounds {
        bounds.delay_s -= by;
    }
}

/// Makes the wet louder or softer. The total changes by as much power as the wet; chance correlation between dry and
/// wet is left out.
fn wet_level(split: &mut Split, change_db: f64) {
    let gain = db::to_power(change_db);
    change_wet(split, |ll, rr, lr| (ll * gain, rr * gain, lr * gain));
}

/// Puts one channel of the wet into both.
fn mono_effect(split: &mut Split, from: Side) {
    change_wet(split, |ll, rr, _| {
        let power = if from == Side::Left { ll } else { rr };
        (power, power, Complex::new(power, 0.0))
    });
    // Its channels are now equal: no delay between them.
    split.wet.delay_s = 0.0;
    split.wet.near.clear();
}

fn change_wet(split: &mut Split, change: impl Fn(f64, f64, Complex<f64>) -> (f64, f64, Complex<f64>)) {
    let Split { wet, total, .. } = split;
    for cell in 0..wet.len() {
        let (ll, rr, lr) = (wet.ll[cell], wet.rr[cell], wet.lr[cell]);
        let (new_ll, new_rr, new_lr) = change(ll, rr, lr);
        (wet.ll[cell], wet.rr[cell], wet.lr[cell]) = (new_ll, new_rr, new_lr);
        total.ll[cell] = (total.ll[cell] + new_ll - ll).max(0.0);
        total.rr[cell] = (total.rr[cell] + new_rr - rr).max(0.0);
        // Cross terms that keep different delays apart can't be added cell by cell.
        if wet.delay_s == total.delay_s {
            total.lr[cell] += new_lr - lr;
        }
    }
}
