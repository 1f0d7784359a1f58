//! Every source the code cites, one variant each, so that a citation is a link the compiler checks.

/// A source: author or standards body, title, edition, page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bibliography {
    /// American Society of Heating, Refrigerating and Air-Conditioning Engineers, *ASHRAE Handbook –
    /// Fundamentals*, SI edition, 2021: chapter 1, tables 1 and 2 and equations (3) and (4), the
    /// standard atmosphere and moist air; chapter 28, table 1, air required for combustion.
    Ashrae2021,

    /// American Society for Testing and Materials, *Petroleum measurement tables*, ASTM D1250-80 (API
    /// Manual of petroleum measurement standards, chapter 11.1), table 54B: generalized products,
    /// correction of volume to 15 °C against density at 15 °C.
    AstmTable54b,

    /// T. R. Chandrupatla, *A new hybrid quadratic/bisection algorithm for finding the zero of a
    /// nonlinear function without using derivatives*, Advances in Engineering Software 28(3), 1997,
    /// pages 145–149 (the algorithm from memory; the tests hold it to known zeros).
    Chandrupatla1997,

    /// A. Picard, R. S. Davis, M. Gläser, K. Fujii, *Revised formula for the density of moist air
    /// (CIPM-2007)*, Metrologia 45, 2008, pages 149–155.
    Cipm2007,

    /// I. H. Bell, J. Wronski, S. Quoilin, V. Lemort, *Pure and pseudo-pure fluid thermophysical
    /// property evaluation and the open-source thermophysical property library CoolProp*, Industrial
    /// & Engineering Chemistry Research 53, 2014, pages 2498–2508.
    Coolprop2014,

    /// P. R. Crossley and J. A. Cook, *A nonlinear engine model for drivetrain system development*, IEE
    /// International Conference Control '91, 1991: torque regression with 21.91 (A/F) − 0.85 (A/F)², as a
    /// published model description quotes it.
    CrossleyCook1991,

    /// H. N. Gupta, *Fundamentals of Internal Combustion Engines*, chapter 9, carburetion: examples 9.4 to
    /// 9.8, read in a published companion notebook, which names neither edition nor page.
    Gupta,

    /// International Organization for Standardization, *Standard atmosphere*, ISO 2533, 1975.
    Iso2533,

    /// M. L. Mathur and R. P. Sharma, *Internal Combustion Engines*, chapter 11, carburetion: examples
    /// 11.3 to 11.9, read in a published companion notebook, which names neither edition nor page.
    MathurSharma,

    /// S. W. Sparrow, *Relation of fuel-air ratio to engine performance*, NACA Technical Report 189,
    /// 1925: best power at a fuel-air ratio of 0.07 to 0.08.
    Naca189,

    /// R. K. Rajput, *A Textbook of Internal Combustion Engines*, chapter 11, carburetion: examples 11.1 to
    /// 11.11, read in a published companion notebook, which names neither edition nor page.
    Rajput,

    /// D. L. Harrington and J. A. Bolt, *Analysis and digital simulation of carburetor metering*, SAE
    /// paper 700082, 1970 (attribution from memory).
    Sae700082,

    /// *Viscosity of liquids*, Nature 129, 1932, pages 125–126, on the formula of E. N. da C. Andrade.
    Viscosity1932,
}
