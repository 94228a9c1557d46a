// Sends a photo to a depot with tus-js-client, a tus 1.0.0 client that knows nothing of ours.
//
//     npm ci --ignore-scripts                       in tests/peers, from where this is run
//     node tus_upload.mjs URL TOKEN FILE [--chunk=BYTES] [--with-hash] [--with-body] [--override] [--break-after=BYTES [--terminate] [--wait=SECONDS]]
//
// --with-body uses creation-with-upload, --override sends POST with X-HTTP-Method-Override. --break-after stops there; then --terminate gives
// the upload up, and without it the same upload is gone on with, after --wait; one that is gone by then is begun anew, by the client itself.
// Prints one JSON document.
import { createHash } from "node:crypto";
import { createReadStream, readFileSync, statSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, resolve } from "node:path";

const tus = createRequire(resolve("package.json"))("tus-js-client");
const [url, token, file, ...rest] = process.argv.slice(2);
const option = (name) => rest.find((text) => text === `--${name}` || text.startsWith(`--${name}=`))?.split("=")[1];
const has = (name) => rest.some((text) => text === `--${name}` || text.startsWith(`--${name}=`));
const sha256 = createHash("sha256").update(readFileSync(file)).digest("hex");
const size = statSync(file).size;
const breakAfter = Number(option("break-after") ?? 0);
const headers = { Authorization: `Bearer ${token}` };
const said = { sha256, offsets: [] };

function upload(uploadUrl) {
  return new Promise((done, failed) => {
    const up = new tus.Upload(createReadStream(file), {
      endpoint: `${url}/v1/photos`,
      uploadUrl,
      uploadSize: size,
      chunkSize: Number(option("chunk") ?? 1 << 20),
      headers,
      metadata: { filename: basename(file), ...(has("with-hash") ? { sha256 } : {}) },
      uploadDataDuringCreation: has("with-body"),
      overridePatchMethod: has("override"),
      retryDelays: [100, 200, 400],
      onAfterResponse: (request, response) => {
        said.expires = response.getHeader("Upload-Expires") ?? said.expires;
        if (request.getMethod() === "DELETE") said.terminated = response.getStatus();
      },
      onError: failed,
      onSuccess: () => done(up),
      onChunkComplete: (_, accepted) => {
        said.offsets.push(accepted);
        if (breakAfter && !uploadUrl && accepted >= breakAfter) up.abort(has("terminate")).then(() => done(up), failed);
      },
    });
    up.start();
  });
}

let up = await upload();
said.first_location = up.url;
if (breakAfter) {
  await new Promise((go) => setTimeout(go, 1000 * Number(option("wait") ?? 0)));
  const asked = await fetch(said.first_location, { method: "HEAD", headers: { ...headers, "Tus-Resumable": "1.0.0" } });
  said.status_after = asked.status;
  if (!has("terminate")) up = await upload(said.first_location);
}
console.log(JSON.stringify({ ...said, location: up.url }));
