//! How far an answer is to be trusted: the one measure of it, from the reading to the sentence, the list, the page, the JSON and what is saved.

/// How far something that is told is to be trusted. What is less than likely isn't told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trust {
    /// Some parts of the signal say so and none says otherwise.
    Likely,
    /// All parts of the signal that could say otherwise agree.
    Sure,
}

impl Trust {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

/// Why something can't be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unknown {
    /// Too little of it stands out of the noise.
    Noise,
    /// The parts of the signal contradict each other.
    Contradiction,
    /// The phone was moved while it recorded.
    Moved,
    /// A piece of the recording is missing or comes twice.
    Cut,
    /// The lines arrive by different ways.
    DifferentWays,
    /// What the sound went through changed meanwhile.
    Changing,
    /// No plug was pulled.
    NothingPulled,
    /// The clocks of player and recorder couldn't be compared.
    Clock,
    /// An automatic gain moved, and nothing says by how much.
    Gain,
    /// It needs both lines, and one isn't there.
    OneLine,
}

/// Something that is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate<T> {
    /// What.
    pub value: T,
    /// How far it is to be trusted.
    pub trust: Trust,
    /// The true value is within this of it in 95 of 100 recordings, in its unit; 0 where it is no number.
    pub within: f64,
}

/// An answer, or why there's none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer<T> {
    /// It is told.
    Known(Estimate<T>),
    /// It can't be told.
    Unknown(Unknown),
}

impl<T: Copy> Answer<T> {
    /// What is told of it.
    #[must_use]
    pub fn known(&self) -> Option<Estimate<T>> {
        match self {
            Self::Known(estimate) => Some(*estimate),
            Self::Unknown(_) => None,
        }
    }

    /// Its value, where it is told.
    #[must_use]
    pub fn value(&self) -> Option<T> {
        self.known().map(|estimate| estimate.value)
    }

    /// How far it's to be trusted; `None`: it can't be told.
    #[must_use]
    pub fn trust(&self) -> Option<Trust> {
        self.known().map(|estimate| estimate.trust)
    }

    /// `sure`, `likely`, or `can't be told`.
    #[must_use]
    pub fn word(&self) -> &'static str {
        self.trust().map_or("can't be told", Trust::word)
    }
}
