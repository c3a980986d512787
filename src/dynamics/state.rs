//! The state vector and its order.
