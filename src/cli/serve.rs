//! The verb `serve`: where the page is, how it is told, and nothing else.

use std::net::IpAddr;

use clap::Args;
use fast_qr::QRBuilder;

use crate::error::{Error, Result};
use crate::page::{self, Invitation, Site};

#[derive(Args)]
pub(super) struct ServeArgs {
    /// The port; without, 4477 or, if that is taken, a free one
    #[arg(long, value_name = "PORT")]
    port: Option<u16>,
    /// Also for phones on the local network, each with a key that opens the page once; the address of this machine there,
    /// where it has several
    #[arg(long, value_name = "ADDRESS")]
    #[allow(clippy::option_option)]
    lan: Option<Option<IpAddr>>,
}

impl ServeArgs {
    fn site(&self) -> Result<Site> {
        let address = match self.lan {
            None => Site::LOOPBACK.address,
            Some(Some(address)) => address,
            Some(None) => page::lan_address().ok_or_else(|| {
                let wanted = "a network, or --lan ADDRESS with the address of this machine in it";
                Error::argument("--lan", "no network", wanted)
            })?,
        };
        Ok(Site {
            address,
            port: self.port,
            keyed: self.lan.is_some(),
        })
    }
}

/// Serves until interrupted.
pub(super) fn serve(args: &ServeArgs) -> Result<bool> {
    page::serve(&args.site()?, tell)?;
    Ok(true)
}

/// Where to open the page, and for a phone the same to scan.
fn tell(invitation: &Invitation) {
    let url = &invitation.url;
    if !invitation.keyed {
        anstream::println!("The page is at {url} on this machine. Ctrl-C ends it.");
        return;
    }
    if let Ok(code) = QRBuilder::new(url.as_str()).build() {
        anstream::println!("{}", code.to_str());
    }
    anstream::println!(
        "Open {url} on one phone or tablet: the key opens the page once, then the next one is shown here.\n\
         What is sent is not encrypted: use a network that you trust. Ctrl-C ends it."
    );
}
