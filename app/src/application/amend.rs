//! Working with what was recognised: for the session, or saved as a sheet of its own. The sheet that
//! is open is never written to.

use super::{Application, Tab};
use crate::amendment::{Amendment, save_new};
use crate::fault::Fault;
use crate::session::Plan;
use crate::setup::Setup;

impl Application {
    /// Does something with what was recognised on this input.
    pub(super) fn amend(
        &mut self,
        input: usize,
        deed: impl FnOnce(&mut Self, &Amendment) -> Result<(), Fault>,
    ) {
        let Some(amendment) = self.hookup.amendment(&self.setup, input) else {
            return;
        };
        if let Err(fault) = deed(self, &amendment) {
            self.tell(fault.to_string(), true);
        }
    }

    pub(super) fn use_amended(&mut self, amendment: &Amendment) -> Result<(), Fault> {
        let amended = amendment.applied(&self.setup)?;
        let Some(plan) = self.opened.clone() else {
            return Ok(());
        };
        let before = self.before.clone();
        self.open(Plan {
            amended: Some(amended),
            // Where TDC is has to be found anew: no reference holds.
            reference: None,
            ..plan
        });
        // Returning to this source, as after a recording, is returning to its own sheet.
        self.before = before;
        self.tab = Tab::Hookup;
        self.wish();
        if self.notice.is_none() {
            self.tell(
                format!(
                    "This session works with {}. Where TDC and the cam windows are the wheel does not tell: check them.",
                    amendment.wheel
                ),
                false,
            );
        }
        Ok(())
    }

    pub(super) fn save_amended(&mut self, amendment: &Amendment) -> Result<(), Fault> {
        let amended: Setup = amendment.applied(&self.setup)?;
        let folder = self.settings.sheets_folder();
        let path = save_new(&folder, &amended.sheet.name, &amended.sheet_text)?;
        self.tell(format!("Saved as {}.", path.display()), false);
        Ok(())
    }
}
