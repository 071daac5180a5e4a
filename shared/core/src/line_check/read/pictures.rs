//! What there is to draw.

use super::level::NO_LEVEL;
use super::{AHEAD_S, Arrival, Compared, Pictures, REACH_S, Reader};
use crate::dsp::db;
use crate::line_check::response::Response;
use crate::line_check::result::Curve;

/// What a picture of an impulse response shows behind the first arrival, seconds.
const SHOWN_S: f64 = 0.030;
/// Share of its peak at which a response has begun.
const BEGUN: f64 = 0.3;
/// A band is drawn from this signal to noise on (power).
const DRAWN: f64 = 2.0;

impl Reader {
    /// Level of each band where it stands out of the noise, dB.
    fn levels(&mut self, response: &Response, length_s: f64) -> Curve {
        let cut = self.cut(response, -AHEAD_S, REACH_S + length_s);
        let clear = self
            .grid
            .bands
            .iter()
            .filter(|&&band| cut.clearness(band) >= DRAWN);
        clear
            .map(|&band| {
                let bins = (band.1 - band.0) as f64;
                let level = db::from_power((cut.power(band) - cut.noise_power(band)) / bins);
                (self.grid.middle_hz(band), level)
            })
            .collect()
    }

    pub(super) fn pictures(
        &mut self,
        lines: &[Response; 2],
        arrivals: [Arrival; 2],
        length_s: f64,
        compared: Option<&Compared>,
    ) -> Pictures {
        let mut pictures = Pictures::default();
        let peak = lines
            .iter()
            .map(|response| response.peak(-AHEAD_S, SHOWN_S).0)
            .fold(1e-300, f64::max);
        let zero = lines
            .iter()
            .zip(arrivals)
            .filter(|(_, arrival)| *arrival == Arrival::Yes)
            .filter_map(|(response, _)| first_arrival(response))
            .min()
            .unwrap_or(0);
        let mut loudest = f64::NEG_INFINITY;
        for (side, response) in lines.iter().enumerate() {
            pictures.impulses[side] = (response.lag(-0.002)..=response.lag(SHOWN_S))
                .map(|lag| {
                    (
                        1000.0 * lag as f64 / response.rate_hz,
                        response.at(lag + zero) / peak,
                    )
                })
                .collect();
            if arrivals[side] != Arrival::Yes {
                continue;
            }
            let curve = self.levels(response, length_s);
            loudest = curve.iter().map(|point| point.1).fold(loudest, f64::max);
            pictures.responses[side] = curve;
        }
        for curve in &mut pictures.responses {
            curve.iter_mut().for_each(|point| point.1 -= loudest);
        }
        if let Some(compared) = compared.filter(|_| arrivals == [Arrival::Yes; 2]) {
            let to_db = 20.0 / core::f64::consts::LN_10;
            for point in &compared.drawn {
                if point.level_variance < NO_LEVEL {
                    pictures.difference_db.push((point.hz, to_db * point.ln_gain));
                }
                pictures
                    .difference_degrees
                    .push((point.hz, point.phase.to_degrees()));
            }
        }
        pictures
    }
}

/// The lag at which a response first comes to a share of its peak, samples.
fn first_arrival(response: &Response) -> Option<isize> {
    let (peak, _) = response.peak(-AHEAD_S, SHOWN_S);
    (response.lag(-AHEAD_S)..=response.lag(SHOWN_S)).find(|&lag| response.at(lag).abs() >= BEGUN * peak)
}

/// The highest frequency within 15 dB of the loudest band in either line, Hz.
pub(super) fn reach_hz(pictures: &Pictures) -> f64 {
    pictures
        .responses
        .iter()
        .flatten()
        .filter(|(_, level)| *level > -15.0)
        .map(|(hz, _)| *hz)
        .fold(0.0, f64::max)
}
