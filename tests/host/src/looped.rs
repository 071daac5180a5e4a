//! Two lines from the plugin's outputs back to its inputs.

use std::collections::VecDeque;

/// A desk that adds both lines and sends the sum back to both of the plugin's inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// Delay of each line, samples; at least a block, because the loop runs through the block buffers.
    pub late_samples: [usize; 2],
    /// Gain of each; negative for a flipped line.
    pub gains: [f32; 2],
}

/// The running loop.
pub(crate) struct Looped {
    how: Loop,
    lines: [VecDeque<f32>; 2],
    arrived: Vec<f32>,
}

impl Looped {
    pub(crate) fn new(how: Loop) -> Self {
        Self {
            how,
            lines: how
                .late_samples
                .map(|late| std::iter::repeat_n(0.0, late).collect()),
            arrived: Vec::new(),
        }
    }

    /// The next input samples.
    pub(crate) fn arrives(&mut self, samples: usize) -> &[f32] {
        self.arrived.clear();
        let gains = self.how.gains;
        for _ in 0..samples {
            let [left, right] = self.lines.each_mut().map(|line| line.pop_front().unwrap_or(0.0));
            self.arrived.push(gains[0] * left + gains[1] * right);
        }
        &self.arrived
    }

    /// Takes the output samples.
    pub(crate) fn went_out(&mut self, left: &[f32], right: &[f32]) {
        self.lines[0].extend(left);
        self.lines[1].extend(right);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_line_comes_back_late_and_by_its_gain() {
        let mut looped = Looped::new(Loop {
            late_samples: [2, 3],
            gains: [1.0, -0.5],
        });
        assert_eq!(looped.arrives(2), [0.0, 0.0]);
        looped.went_out(&[1.0, 0.0], &[4.0, 0.0]);
        assert_eq!(looped.arrives(2), [1.0, -2.0]);
    }
}
