//! Motion sickness: MSDV and MSI.
