//! Eigenvalues of real matrices without the hang, and modes in order.
