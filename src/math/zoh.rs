//! Matrix exponential and zero-order-hold sampling.
