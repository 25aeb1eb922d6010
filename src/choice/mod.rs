//! Which day, which site: releases scored against limits and ranked.

pub mod days;
pub mod ground;
pub mod judge;
pub mod site;
pub mod times;
pub mod verdict;
