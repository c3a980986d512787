//! Unsteady lift: Wagner and Kussner lags.
