//! To come.

use super::{Failure, Run};

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct Args {}

impl Run for Args {
    fn run(self) -> Result<(), Failure> {
        Err(anyhow::anyhow!("not built yet").into())
    }
}
