//! Every source the code cites, one variant each, so that a citation is a link the compiler checks.

/// A source: author or standards body, title, edition, page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bibliography {
    /// S. W. Sparrow, *Relation of fuel-air ratio to engine performance*, NACA Technical Report 189,
    /// 1925: best power at a fuel-air ratio of 0.07 to 0.08.
    Naca189,
}
