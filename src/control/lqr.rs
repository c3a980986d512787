//! State feedback with an observer.
