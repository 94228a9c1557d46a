// A tus 1.0.0 server of others (@tus/server) that takes photos at /v1/photos, for our client to send to.
//
//     npm install --no-save @tus/server@2.4.5 @tus/file-store@2     in the folder from which this is run
//     node tests/peers/tus_server.mjs FOLDER                        prints its address; ends with its standard input
//
// Photos lie in FOLDER under names of the server's own.
import { createServer } from "node:http";
import { createRequire } from "node:module";
import { resolve } from "node:path";

const require = createRequire(resolve("package.json"));
const { Server } = require("@tus/server");
const { FileStore } = require("@tus/file-store");
const server = new Server({ path: "/v1/photos", datastore: new FileStore({ directory: process.argv[2] }), relativeLocation: false });
const http = createServer((request, response) => server.handle(request, response));
http.listen(0, "127.0.0.1", () => console.log(`http://127.0.0.1:${http.address().port}`));
process.stdin.resume();
process.stdin.on("end", () => process.exit(0));
