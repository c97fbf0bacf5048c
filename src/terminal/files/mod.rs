//! Files made of the groove and grooves made of files, as far as the state goes.

pub(crate) mod clipboard;
pub(crate) mod export;
pub(crate) mod import;
pub(crate) mod save;
