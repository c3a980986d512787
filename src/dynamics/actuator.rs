//! Servos: lag, rate and angle limits, dead band, backlash, delay.
