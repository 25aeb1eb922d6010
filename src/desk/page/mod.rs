//! The pages: forms and results, whole without a script. `frame` is around each; `boxed` are labelled boxes, `inputs`
//! those of a plan's fields, `forms` what starts long work, `map` the map; `plan` (of what is `shown`)
//! and `home` are the pages.

mod boxed;
mod forms;
mod frame;
mod home;
mod inputs;
mod map;
mod plan;
mod shown;

pub use self::frame::{address, note};
pub use self::home::{Home, compared, home};
pub use self::plan::{answer, fault_list, plan};
pub use self::shown::PlanPage;
