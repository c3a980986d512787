//! State feedback with an observer.

/// Gains and models over speed.
#[derive(Clone, Debug, Default)]
pub struct LqrMatrices {}
