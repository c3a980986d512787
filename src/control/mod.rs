//! Control laws: they see sensors and write commands.

pub mod allocate;
pub mod estimate;
pub mod external;
pub mod filter;
pub mod fixed;
pub mod lqr;
pub mod pid;
pub mod signal;
