//! A carburettor fitted to an engine, in the air and with the fuel of the day.

use super::Carburettor;
use super::air_side::{AirSide, AirWay};
use super::wells::{Drawn, Well};
use crate::air::Air;
use crate::engine::{Charge, Intake};
use crate::error::{Result, require};
use crate::flow::Gas;
use crate::fuel::Fuel;
use crate::numeric::zero_or_more;

/// Ratio of heat capacities of air, –.
const GAMMA_AIR: f64 = 1.4;
/// The same of air with fuel in it, –.
const GAMMA_MIXTURE: f64 = 1.2;
/// Discharge coefficient of a leak, –.
const LEAK_DISCHARGE: f64 = 0.8;

/// What a carburettor is fitted to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// Displacement it feeds, m³.
    pub displacement_m3: f64,
    /// Leak behind it, m².
    pub leak_m2: f64,
    /// Angle of the plate from square across the bore, rad.
    pub plate_rad: f64,
}

/// Every element in its place, reckoned with the air and fuel of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    way: AirWay,
    pilot: Well,
    main: Well,
    air: Gas,
    outside_pa: f64,
    leak_m2: f64,
}

/// Every pressure and flow of a carburettor at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// In the air box, Pa.
    pub airbox_pa: f64,
    /// In the throat, Pa.
    pub throat_pa: f64,
    /// Between slide or venturi and plate, Pa.
    pub behind_pa: f64,
    /// In the manifold, Pa.
    pub manifold_pa: f64,
    /// Lift of the slide, m.
    pub lift_m: f64,
    /// Mean over steady depression, –.
    pub kappa: f64,
    /// Air past the plate, kg/s; what the main well bled in is part of it.
    pub throttle_air_kg_s: f64,
    /// Air through the leak, kg/s.
    pub leak_air_kg_s: f64,
    /// What the idle circuit delivers.
    pub pilot: Drawn,
    /// What the main circuit delivers.
    pub main: Drawn,
}

impl State {
    /// All air that reaches the engine, kg/s.
    pub fn air_kg_s(&self) -> f64 {
        self.throttle_air_kg_s + self.pilot.air_kg_s + self.leak_air_kg_s
    }

    /// All fuel that reaches the engine, kg/s.
    pub fn fuel_kg_s(&self) -> f64 {
        self.pilot.fuel_kg_s + self.main.fuel_kg_s
    }
}

impl Network {
    /// A carburettor where it is fitted.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) names the dimension that cannot be, as the machine's
    /// file names it.
    pub fn new(carburettor: &Carburettor, fitted: &Fitted, air: &Air, fuel: &Fuel) -> Result<Network> {
        let Fitted { displacement_m3, leak_m2, plate_rad } = *fitted;
        carburettor.check()?;
        let plate = plate_rad.to_degrees();
        require((0.0..=90.0).contains(&plate), "plate_deg", plate, "from 0 to 90")?;
        require((0.0..=1e-4).contains(&leak_m2), "leak_mm2", 1e6 * leak_m2, "from 0 to 100")?;
        let cm3 = 1e6 * displacement_m3;
        require(0.0 < cm3 && cm3 <= 10_000.0, "displacement_cm3", cm3, "above 0, to 10000")?;
        let gas = Gas::new(GAMMA_AIR, air.pressure_over_density())?;
        let mixture = Gas::new(GAMMA_MIXTURE, air.pressure_over_density())?;
        Ok(Network {
            way: AirWay::new(carburettor, fitted, air.pressure_pa(), gas),
            pilot: Well::pilot(carburettor, plate_rad, gas, mixture, fuel)?,
            main: Well::main(carburettor, gas, fuel)?,
            air: gas,
            outside_pa: air.pressure_pa(),
            leak_m2: LEAK_DISCHARGE * leak_m2,
        })
    }

    /// Every pressure and flow at a manifold pressure \[Pa\] and an engine speed \[rpm\]; where either is no
    /// number, neither are the flows.
    ///
    /// # Example
    ///
    /// Below a nearly closed plate the idle circuit feeds alone:
    ///
    /// ```
    /// use bellmouth_core::air::Air;
    /// use bellmouth_core::carburettor::{Carburettor, Fitted, Network};
    /// use bellmouth_core::fuel::Petrol;
    ///
    /// let (air, fuel) = (Air::standard(0.0)?, Petrol::default().at(298.15)?);
    /// let carburettor = Carburettor::constant_depression();
    /// let fitted = Fitted { displacement_m3: 1.2e-3, leak_m2: 0.0, plate_rad: carburettor.stop_rad };
    /// let network = Network::new(&carburettor, &fitted, &air, &fuel)?;
    /// let state = network.state(40e3, 1000.0);
    /// assert!(state.main.fuel_kg_s == 0.0 && 1e-4 < state.pilot.fuel_kg_s);
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn state(&self, manifold_pa: f64, rpm: f64) -> State {
        let kappa = self.way.kappa(rpm);
        let side = self.way.at(manifold_pa, kappa);
        let AirSide { throttle_air_kg_s, airbox_pa, throat_pa, behind_pa, lift_m } = side;
        State {
            airbox_pa,
            throat_pa,
            behind_pa,
            manifold_pa,
            lift_m,
            kappa,
            throttle_air_kg_s,
            leak_air_kg_s: self.leak_kg_s(manifold_pa),
            pilot: self.pilot.drawn(airbox_pa, behind_pa, manifold_pa),
            main: self.main.drawn(airbox_pa, behind_pa, throat_pa),
        }
    }

    fn leak_kg_s(&self, manifold_pa: f64) -> f64 {
        zero_or_more(self.air.flow_kg_s(self.leak_m2, self.outside_pa, manifold_pa))
    }
}

impl Intake for Network {
    fn charge(&self, manifold_pa: f64, rpm: f64) -> Charge {
        let side = self.way.at(manifold_pa, self.way.kappa(rpm));
        let pilot = self.pilot.drawn(side.airbox_pa, side.behind_pa, manifold_pa);
        let main_fuel_kg_s = self.main.fuel_kg_s(side.airbox_pa, side.behind_pa, side.throat_pa);
        Charge {
            mixture_air_kg_s: side.throttle_air_kg_s + pilot.air_kg_s,
            leak_air_kg_s: self.leak_kg_s(manifold_pa),
            fuel_kg_s: pilot.fuel_kg_s + main_fuel_kg_s,
        }
    }

    /// Without the main well, whose air is part of what passes the plate.
    fn air_kg_s(&self, manifold_pa: f64, rpm: f64) -> f64 {
        let side = self.way.at(manifold_pa, self.way.kappa(rpm));
        let pilot = self.pilot.drawn(side.airbox_pa, side.behind_pa, manifold_pa);
        side.throttle_air_kg_s + pilot.air_kg_s + self.leak_kg_s(manifold_pa)
    }
}
