//! LQR and observer gains from the linear model.
